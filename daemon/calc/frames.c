/* frames.c - see frames.h. */
#include "daemon/calc/frames.h"

#include <string.h>

static const struct calc_field fields[] = {
#include "daemon/calc/report-fields.inc"
};

static const char *
line_flw(const struct calc_destination *destination)
{
    return destination->flw_destination;
}

static const char *
line_gri(const struct calc_destination *destination)
{
    return destination->gri_306;
}

static const char *
line_esrs(const struct calc_destination *destination)
{
    return destination->esrs_e5_5;
}

static const char *
line_sdg(const struct calc_destination *destination)
{
    return strcmp(destination->sdg_12_3_1b, "yes") == 0 ? "12.3.1(b) counts as food waste"
                                                        : "12.3.1(b) does not count";
}

static const struct calc_frame frames[] = {
    {"FLW", "FLW v1.0", line_flw},
    {"GRI", "GRI 306:2020", line_gri},
    {"ESRS", "ESRS E5-5", line_esrs},
    {"SDG", "SDG 12.3.1(b)", line_sdg},
};

const struct calc_field *
calc_field_at(size_t i)
{
    return i < sizeof fields / sizeof fields[0] ? &fields[i] : NULL;
}

const struct calc_frame *
calc_frame_find(const char *code)
{
    for (size_t i = 0; i < sizeof frames / sizeof frames[0]; i++)
        if (strcmp(frames[i].code, code) == 0)
            return &frames[i];
    return NULL;
}
