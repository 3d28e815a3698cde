/* program.h - the real programs, started in a folder of their own and waited for by events.
 */
#ifndef TESTS_SYSTEM_PROGRAM_H
#define TESTS_SYSTEM_PROGRAM_H

#include <stdbool.h>
#include <stddef.h>
#include <sys/types.h>

enum {
    PLACE = 128,
    TEXT_MOST = 65536,
    PATIENCE_MS = 30000
};

/* A fresh folder under /tmp for one test; removed by place_done(). */
void place_make(char place[PLACE]);
void place_done(const char *place);
/* PLACE/NAME; `place` may be one of those paths. IN() declares it too. */
void path_in(const char *place, const char *name, char out[PLACE * 2]);
#define IN(place, name, path) \
    char path[PLACE * 2];     \
    path_in(place, name, path)

/* What one run of a program said. */
struct said {
    int status; /* exit status, -signal when it was killed */
    char out[TEXT_MOST], err[TEXT_MOST];
};
/* Runs a program of the build (first word) to its end. The last argument is NULL. */
struct said run_program(const char *program, ...) __attribute__((sentinel));

/* A daemon that keeps running; its stderr goes to DIR.log. Waits for the line `ready`. */
struct daemon {
    pid_t pid;
    char log[PLACE * 2];
};
struct daemon start_daemon(const char *program, const char *dir);
/* SIGTERM and the exit status. */
int end_daemon(struct daemon *d);
void kill_daemon(struct daemon *d); /* SIGKILL */
bool log_says(const struct daemon *d, const char *text);
/* Waits until the log has it; fails the test otherwise. */
void wait_for_log(const struct daemon *d, const char *text);

/* Asks again until the output of `knockbox WORD --at DIR --json` holds `text`. */
void wait_for_answer(const char *dir, const char *word, const char *text);
bool answer_has(const char *dir, const char *word, const char *text);

/* A hub on a port that the system chose, running; and a café that joined it, whose patience
 * with a silent hub is 5 s. */
struct daemon start_hub(const char *dir);
void join_cafe(const char *hub, const char *dir, const char *site);
/* The catalogue for `site` is in the hub, the café joined, runs and has the catalogue. */
struct daemon start_cafe(const char *hub, const char *dir, const char *site);
/* The first line of DIR/endpoint. */
void endpoint_of(const char *hub, char out[PLACE]);
/* One tub record through the client; the exit status. */
int log_tub(const char *dir, const char *label);
/* Everything that the kitchen and `site` need so that tubs can be logged. */
void import_catalogue(const char *hub, const char *site);

#endif
