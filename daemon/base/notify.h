/* notify.h - tells the service manager how we are, by the notify socket of systemd (sd_notify(3)).
 *
 * Without NOTIFY_SOCKET in the environment all of this does nothing.
 */
#ifndef DAEMON_BASE_NOTIFY_H
#define DAEMON_BASE_NOTIFY_H

#include <stdint.h>

void notify_ready(void); /* also prints the line `ready` on stderr */
void notify_stopping(void);
void notify_reloading(void); /* follow with notify_reloaded() */
void notify_reloaded(void);
void notify_status(const char *text); /* one line for `systemctl status` */
void notify_alive(void);              /* feeds the watchdog */

/* How often notify_alive() is wanted, in ms: half of WATCHDOG_USEC; 0: not at all. */
uint32_t notify_alive_every_ms(void);

#endif
