/* solve_main.c - knockbox-solve: a problem and a first plan in, better plans out.
 *
 * Only child.c speaks to it. Requests and answers: "knockbox-solve 1 EFFORT LENGTHS..." and bytes
 * on standard input; "plan WORTH BOUND LENGTH" and a plan for each better one, then "end".
 */
#include <fcntl.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "daemon/plan/plan_file.h"
#include "daemon/plan/problem_file.h"
#include "daemon/plan/slurp.h"
#include "daemon/plan/solve.h"

struct answer {
    const struct problem *p;
    FILE *out;
};

/* 128 bits in decimal. */
static void
print_units(FILE *f, check_units n)
{
    char text[48];
    int at = (int)sizeof text - 1;
    bool minus = n < 0;
    text[at] = '\0';
    do {
        int digit = (int)(n % 10);
        text[--at] = (char)('0' + (digit < 0 ? -digit : digit));
        n /= 10;
    } while (n != 0);
    if (minus)
        text[--at] = '-';
    (void)fputs(&text[at], f);
}

static enum err
tell(void *to, const struct plan *plan, check_units worth, check_units bound, struct err_text *why)
{
    struct answer *a = to;
    char *text = NULL;
    size_t len = 0;
    FILE *f = open_memstream(&text, &len);
    if (f == NULL)
        return err_set(ERR_MEM, why, "no memory to answer");
    plan_print(plan, a->p, f);
    bool ok = fclose(f) == 0;
    (void)fputs("plan ", a->out);
    print_units(a->out, worth);
    (void)fputc(' ', a->out);
    print_units(a->out, bound);
    (void)fprintf(a->out, " %zu\n", len);
    ok = fwrite(text, 1, len, a->out) == len && fflush(a->out) == 0 && ok;
    free(text);
    return ok ? ERR_OK : err_set(ERR_IO, why, "nobody takes the answer");
}

/* Whatever a solver prints goes nowhere; the answers have a stream of their own. */
static FILE *
own_output(void)
{
    int fd = fcntl(STDOUT_FILENO, F_DUPFD_CLOEXEC, STDERR_FILENO + 1);
    int nowhere = open("/dev/null", O_WRONLY | O_CLOEXEC);
    if (fd < 0 || nowhere < 0 || dup2(nowhere, STDOUT_FILENO) < 0)
        return NULL;
    return fdopen(fd, "w");
}

struct request {
    int effort;
    size_t len[3];
    const char *part[3]; /* problem, tubs, first plan */
};

static enum err
read_request(const char *text, size_t len, struct request *r, struct err_text *why)
{
    const char *end = memchr(text, '\n', len);
    if (end == NULL || sscanf(text, "knockbox-solve 1 %d %zu %zu %zu", &r->effort, &r->len[0],
                              &r->len[1], &r->len[2]) != 4)
        return err_set(ERR_FORMAT, why,
                       "knockbox-solve is started by knockbox; it has no other use");
    size_t left = len - (size_t)(end + 1 - text);
    const char *at = end + 1;
    for (int i = 0; i < 3; i++) {
        if (r->len[i] > left)
            return err_set(ERR_FORMAT, why, "the request is cut");
        r->part[i] = at;
        at += r->len[i];
        left -= r->len[i];
    }
    return ERR_OK;
}

static enum err
answer(const struct request *r, FILE *out, struct err_text *why)
{
    struct problem *p = NULL;
    struct plan *first = NULL;
    enum err e = problem_parse(r->part[0], r->len[0], r->part[1], r->len[1], &p, why);
    if (e == ERR_OK)
        e = plan_parse(r->part[2], r->len[2], p, &first, why);
    struct answer a = {p, out};
    if (e == ERR_OK)
        e = solve_problem(p, first, r->effort < 0 ? 0 : r->effort, tell, &a, why);
    if (e == ERR_OK)
        (void)fputs("end\n", out); /* closing tells whether it went out */
    plan_free(first);
    problem_free(p);
    return e;
}

int
main(void)
{
    struct err_text why = {.s = ""};
    struct request r;
    char *text = NULL;
    size_t len = 0;
    FILE *out = own_output();
    enum err e = out == NULL ? err_set(ERR_IO, &why, "no standard output")
                             : slurp_stream(stdin, &text, &len, &why);
    if (e == ERR_OK)
        e = read_request(text, len, &r, &why);
    if (e == ERR_OK)
        e = answer(&r, out, &why);
    if (e != ERR_OK)
        (void)fprintf(stderr, "knockbox-solve: %s\n", why.s);
    free(text);
    if (out != NULL && fclose(out) != 0 && e == ERR_OK)
        e = ERR_IO;
    return err_exit_status(e);
}
