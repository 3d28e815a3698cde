/* replay.c FILE... - each file through the entry point, and each cut and bent in a few ways. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tests/fuzz/fuzz.h"

enum {
    FILE_MOST = 128 * 1024
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

static void
run_bent(uint8_t *data, size_t size)
{
    run_copy(data, size);
    for (size_t i = 0; i < size; i += size < 300 ? 1 : 7) {
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
    for (int i = 1; i < argc; i++) {
        FILE *file = fopen(argv[i], "rb");
        if (file == NULL)
            return EXIT_FAILURE;
        size_t size = fread(data, 1, sizeof data, file);
        (void)fclose(file);
        run_bent(data, size);
    }
    return argc > 1 ? EXIT_SUCCESS : EXIT_FAILURE;
}
