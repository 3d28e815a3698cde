/* replay.c BENDS FILE... - each file through the entry point, and cut and bent BENDS times.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tests/fuzz/fuzz.h"

enum {
    FILE_MOST = 128 * 1024,
    WAYS = 3
};

static void
run_copy(const uint8_t *data, size_t size)
{
    uint8_t *copy = malloc(size + 1); /* of its very size, so that a sanitizer sees each step out */
    if (copy == NULL)
        abort();
    memcpy(copy, data, size);
    (void)LLVMFuzzerTestOneInput(copy, size);
    free(copy);
}

/* Places spread over the file; at each a cut, a flipped bit and the next value. */
static void
run_bent(uint8_t *data, size_t size, size_t bends)
{
    size_t places = bends / WAYS < size ? bends / WAYS : size;
    run_copy(data, size);
    for (size_t k = 0; k < places; k++) {
        size_t i = k * size / places;
        uint8_t old = data[i];
        run_copy(data, i);
        data[i] = (uint8_t)(old ^ 0x80);
        run_copy(data, size);
        data[i] = (uint8_t)(old + 1);
        run_copy(data, size);
        data[i] = old;
    }
}

int
main(int argc, char **argv)
{
    static uint8_t data[FILE_MOST];
    size_t bends = argc > 1 ? strtoul(argv[1], NULL, 10) : 0;
    for (int i = 2; i < argc; i++) {
        FILE *file = fopen(argv[i], "rb");
        if (file == NULL)
            return EXIT_FAILURE;
        size_t size = fread(data, 1, sizeof data, file);
        (void)fclose(file);
        run_bent(data, size, bends);
    }
    return argc > 2 ? EXIT_SUCCESS : EXIT_FAILURE;
}
