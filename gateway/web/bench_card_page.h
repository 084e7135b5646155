/* bench_card_page.h - the answer to a card, PIN or number that was typed into a plain form.
 * Private. */
#ifndef BENCH_CARD_PAGE_H
#define BENCH_CARD_PAGE_H

#include "web/route.h"

/* A wp_page_fn of wp_act_identify's answer: the name to confirm, and what follows. */
enum wp_status wp_bench_card_page(const cJSON *out, const struct wp_ask *ask,
                                  struct wp_bytes *bytes, struct wp_error *error);

#endif
