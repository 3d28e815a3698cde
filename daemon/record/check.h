/* check.h - what a record of a kind can tell beyond its fields; kind.c's table names these.
 *
 * Each returns ERR_INPUT with field, value and what is expected.
 */
#ifndef DAEMON_RECORD_CHECK_H
#define DAEMON_RECORD_CHECK_H

#include "proto/err.h"
#include "proto/record.pb-c.h"

enum err check_close(const Knockbox__Record *record, struct err_text *why);
enum err check_tub(const Knockbox__Record *record, struct err_text *why);
enum err check_shift(const Knockbox__Record *record, struct err_text *why);
enum err check_discard(const Knockbox__Record *record, struct err_text *why);
enum err check_supply(const Knockbox__Record *record, struct err_text *why);
enum err check_thaw(const Knockbox__Record *record, struct err_text *why);
enum err check_mix(const Knockbox__Record *record, struct err_text *why);
enum err check_measure(const Knockbox__Record *record, struct err_text *why);
enum err check_accept(const Knockbox__Record *record, struct err_text *why);
enum err check_sale(const Knockbox__Record *record, struct err_text *why);
enum err check_order(const Knockbox__Record *record, struct err_text *why);
enum err check_purchase(const Knockbox__Record *record, struct err_text *why);
enum err check_correct(const Knockbox__Record *record, struct err_text *why);
enum err check_site(const Knockbox__Record *record, struct err_text *why);
enum err check_recipe(const Knockbox__Record *record, struct err_text *why);
enum err check_item(const Knockbox__Record *record, struct err_text *why);
enum err check_place(const Knockbox__Record *record, struct err_text *why);
enum err check_staff(const Knockbox__Record *record, struct err_text *why);
enum err check_basis(const Knockbox__Record *record, struct err_text *why);
enum err check_plan_part(const Knockbox__Record *record, struct err_text *why);
enum err check_enrol(const Knockbox__Record *record, struct err_text *why);

#endif
