/* local.h - the local socket: where it is and what travels on it, for client and daemon alike.
 *
 * A SOCK_SEQPACKET Unix socket in the daemon's folder. A packet is one packed Wire message: a
 * `request` from the client, `reply` messages from the daemon. knockbox-link carries the same
 * packets over CURVE, one a frame.
 */
#ifndef PROTO_LOCAL_H
#define PROTO_LOCAL_H

#define LOCAL_SOCKET "knockbox.sock"        /* its name in the folder */
#define LOCAL_SYSTEM_FOLDER "/run/knockbox" /* of the system's own daemon */

enum {
    LOCAL_PACKET_MOST = 192 * 1024, /* bytes in one packet */
    LOCAL_LINES_MOST = 96 * 1024,   /* bytes of lines that a client puts into one request */
    LOCAL_LINE_MOST = 160 * 1024,   /* a longer line cannot be a record */
};

#endif
