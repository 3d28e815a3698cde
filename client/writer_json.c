/* writer_json.c - the answer as it came, one object a line. */
#include "client/writer.h"

static void
put_answer(struct writer *writer, const json_t *answer)
{
    (void)json_dumpf(answer, writer->f, JSON_COMPACT | JSON_ENCODE_ANY);
    (void)fputc('\n', writer->f);
}

const struct writer_form writer_json = {.answer = put_answer};
