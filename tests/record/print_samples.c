/* print_samples.c - a line of every kind, every field filled, for tests that drive the programs. */
#include <stdio.h>
#include <stdlib.h>

#include "tests/record/sample.h"

int
main(void)
{
    unsigned n = 0;
    const struct kind *all = kinds(&n);
    for (unsigned i = 0; i < n; i++) {
        json_t *line = sample_line(&all[i]);
        if (line == NULL || json_dumpf(line, stdout, JSON_COMPACT) != 0)
            return EXIT_FAILURE;
        (void)putchar('\n');
        json_decref(line);
    }
    return fflush(stdout) == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
