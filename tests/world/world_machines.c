/* world_machines.c - boxes with a clock, a store and a machine: on, off, saved, put back, cloned. */
#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <unistd.h>

#include "tests/world/world_int.h"

uint64_t
world_seed(uint64_t standard)
{
    const char *text = getenv("TEST_SEED");
    return text != NULL ? strtoull(text, NULL, 10) : standard;
}

/* splitmix64 (Steele, Lea, Flood 2014) */
uint64_t
next_random(struct world *w)
{
    uint64_t z = w->random += UINT64_C(0x9E3779B97F4A7C15);
    z = (z ^ z >> 30) * UINT64_C(0xBF58476D1CE4E5B9);
    z = (z ^ z >> 27) * UINT64_C(0x94D049BB133111EB);
    return z ^ z >> 31;
}

unsigned
world_chance(struct world *w, unsigned below)
{
    return (unsigned)(next_random(w) % below);
}
int64_t
box_now(void *owner)
{
    struct box *b = owner;
    return b->world->now_ms + b->shift_ms;
}

static uint64_t
box_mono(void *owner)
{
    struct box *b = owner;
    return (uint64_t)(b->world->now_ms - INT64_C(1767225600000)) + 1000;
}

static bool
box_synchronised(void *owner)
{
    (void)owner;
    return true;
}

static void
box_random(void *owner, void *bytes, size_t n)
{
    struct box *b = owner;
    for (size_t i = 0; i < n; i++)
        ((uint8_t *)bytes)[i] = (uint8_t)next_random(b->world);
}
static void
power_on(struct box *b)
{
    struct store_options options = {
        .site = b->site, .map_mib = 16, .most_mib = 256, .ballast_kib = 64, .clock = b->clock};
    must(store_open(b->dir, &options, &b->store, why));
    if (b->number == WORLD_HUB) {
        struct hub_machine_options hub = {
            .store = b->store, .clock = b->clock, .wire = {wire_down, b}, .group = 1000};
        must(hub_machine_new(&hub, &b->hub_machine, why));
        return;
    }
    struct site_machine_options site = {.store = b->store,
                                        .clock = b->clock,
                                        .wire = {wire_up, b},
                                        .hub_site = "kitchen",
                                        .window = 4};
    must(site_machine_new(&site, &b->site_machine, why));
}

static void
power_off(struct box *b)
{
    hub_machine_free(b->hub_machine);
    site_machine_free(b->site_machine);
    store_close(b->store);
    b->hub_machine = NULL;
    b->site_machine = NULL;
    b->store = NULL;
}

static void
box_init(struct world *w, struct box *b, int number, const char *site)
{
    b->world = w;
    b->number = number;
    snprintf(b->site, sizeof b->site, "%s", site);
    snprintf(b->dir, sizeof b->dir, "%s/box%d", w->dir, number);
    mkdir(b->dir, 0700);
    b->clock = (struct clock){box_now, box_mono, box_synchronised, box_random, {1}, b};
}

struct world *
world_new(unsigned cafes, uint64_t seed)
{
    struct world *w = calloc(1, sizeof *w);
    snprintf(w->dir, sizeof w->dir, "%s/knockbox-world-XXXXXX",
             access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp"); /* no disk is tried here */
    cr_assert(mkdtemp(w->dir) != NULL);
    w->random = seed;
    w->now_ms = INT64_C(1772496000000); /* 2026-03-03 */
    w->written = calloc(IDS_MOST, sizeof *w->written);
    must(arena_init(&w->arena, ARENA_FRAME, why));
    box_init(w, &w->hub, WORLD_HUB, "kitchen");
    power_on(&w->hub);
    for (unsigned i = 0; i < cafes; i++) {
        char site[16];
        snprintf(site, sizeof site, "cafe-%u", i);
        box_init(w, &w->cafes[i], (int)i, site);
        power_on(&w->cafes[i]);
        w->n++;
        world_join(w, (int)i);
    }
    return w;
}

static void
remove_files(const char *dir)
{
    char path[512];
    struct dirent *file = NULL;
    DIR *folder = opendir(dir);
    while (folder != NULL && (file = readdir(folder)) != NULL) {
        struct stat st;
        if (strcmp(file->d_name, ".") == 0 || strcmp(file->d_name, "..") == 0)
            continue;
        snprintf(path, sizeof path, "%s/%s", dir, file->d_name);
        if (lstat(path, &st) == 0 && S_ISDIR(st.st_mode))
            remove_files(path);
        else
            unlink(path);
    }
    if (folder != NULL)
        closedir(folder);
    rmdir(dir);
}

void
world_free(struct world *w)
{
    for (unsigned i = 0; i < w->n; i++) {
        power_off(&w->cafes[i]);
        wire_clear(&w->cafes[i].up);
        wire_clear(&w->cafes[i].down);
    }
    power_off(&w->hub);
    remove_files(w->dir);
    arena_done(&w->arena);
    free(w->written);
    free(w);
}

struct box *
box_of(struct world *w, int who)
{
    return who == WORLD_HUB ? &w->hub : &w->cafes[who];
}
struct store *
world_store(struct world *w, int who)
{
    return box_of(w, who)->store;
}
void
world_shift_clock(struct world *w, int who, int64_t ms)
{
    box_of(w, who)->shift_ms = ms;
}
static void
copy_files(const char *from, const char *to)
{
    char command[512];
    snprintf(command, sizeof command, "rm -rf '%s' && cp -r --sparse=always '%s' '%s'", to, from,
             to);
    cr_assert(system(command) == 0, "%s", command);
}

static void
image_path(const struct world *w, unsigned image, char path[160])
{
    snprintf(path, 160, "%s/image%u", w->dir, image);
}

/* The hub's connections end with it. */
static void
off(struct world *w, int who)
{
    if (who != WORLD_HUB) {
        world_cut(w, who);
        power_off(&w->cafes[who]);
        return;
    }
    for (unsigned i = 0; i < w->n; i++)
        if (w->cafes[i].joined)
            world_cut(w, (int)i);
    power_off(&w->hub);
}

void
world_restart(struct world *w, int who)
{
    off(w, who);
    power_on(box_of(w, who));
}

void
world_save(struct world *w, int who, unsigned image)
{
    char path[160];
    image_path(w, image, path);
    world_restart(w, who); /* a store at rest */
    off(w, who);
    copy_files(box_of(w, who)->dir, path);
    power_on(box_of(w, who));
}

void
world_put_back(struct world *w, int who, unsigned image)
{
    char path[160];
    image_path(w, image, path);
    off(w, who);
    copy_files(path, box_of(w, who)->dir);
    power_on(box_of(w, who));
}

void
world_wipe(struct world *w, int who)
{
    off(w, who);
    remove_files(box_of(w, who)->dir);
    mkdir(box_of(w, who)->dir, 0700);
    power_on(box_of(w, who));
}

int
world_clone(struct world *w, int cafe)
{
    int number = (int)w->n;
    cr_assert(number < WORLD_CAFES);
    struct box *from = &w->cafes[cafe], *b = &w->cafes[number];
    box_init(w, b, number, from->site);
    power_off(from);
    copy_files(from->dir, b->dir);
    power_on(from);
    power_on(b);
    w->n++;
    world_cut(w, cafe);
    return number;
}

int
world_machines(const struct world *w)
{
    return (int)w->n;
}
