/* draft.h - what was typed into a close that was left, kept to be offered again that day.
 *
 * One small file a site under XDG_STATE_HOME (~/.local/state). A convenience: what cannot be kept
 * is not, without a word.
 */
#ifndef CLIENT_DRAFT_H
#define CLIENT_DRAFT_H

#include <stddef.h>
#include <stdint.h>

void draft_save(const char *site, int32_t day, const char *const *lines, size_t n);
/* NULL-ended lines, yours (lines_free); NULL: none of that day. */
char **draft_load(const char *site, int32_t day);
void draft_drop(const char *site);

#endif
