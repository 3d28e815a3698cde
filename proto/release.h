/* release.h - how many releases this program stands ahead of its sources: 0.
 *
 * More only in tests/ahead, where the next release's programs are built to meet these: the numbers of
 * wire and store go up by as many, and records have a kind and a field that these do not know.
 */
#ifndef PROTO_RELEASE_H
#define PROTO_RELEASE_H

#ifndef KNOCKBOX_AHEAD
#define KNOCKBOX_AHEAD 0
#endif

#endif
