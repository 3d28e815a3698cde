/* capture.c - the capture of each café, a section that only pictures need. */
#include "daemon/report/part.h"

static const struct column columns[] = {
    {"site", "site", "", false},
    {"captured_kg", "captured in tubs", "kg", true},
    {"uncaptured_kg", "not captured", "kg", true},
    {"generated_kg", "generated", "kg", true},
    {"capture_rate_pct", "capture rate", "%", true},
};

enum err
part_capture(struct build *b)
{
    if (!b->in->pictures)
        return ERR_OK;
    TABLE_SECTION(b->model, "grounds.sites", "Capture by caf\xc3\xa9", SHAPE_ROWS, columns);
    for (size_t i = 0; i < b->n_stock; i++) {
        const char *site = b->stock[i].site;
        int64_t captured_g = b->stock[i].filled_g;
        int64_t uncaptured_g = build_sum(b, MEASURE_UNCAPTURED, site);
        if (captured_g == 0 && uncaptured_g == 0)
            continue;
        table_row(b->model);
        table_set(b->model, "site", site);
        build_kg(b, "captured_kg", captured_g);
        build_kg(b, "uncaptured_kg", uncaptured_g);
        build_kg(b, "generated_kg", captured_g + uncaptured_g);
        build_pct(b, "capture_rate_pct", captured_g, captured_g + uncaptured_g);
    }
    return ERR_OK;
}
