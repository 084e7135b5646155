/* bench_page.h - the page at an instrument as plain HTML with plain forms.
 *
 * It works without script and on old browsers; with script the same page is enhanced by
 * pages/bench.js. Both show the state of views/bench.h. Every text of the state is escaped. The
 * forms go to the acts of the API with a member `then`, so that the browser comes back here by
 * GET and a reload sends nothing twice.
 *
 * Query members it reads: `section` (an id: show that roster), `done` (show the hand-over), `over`
 * (sign on although a turn is open), `who` (show the roster below the question whose a spectrum
 * is).
 *
 * Thread: any; nothing is kept.
 */
#ifndef BENCH_PAGE_H
#define BENCH_PAGE_H

#include "web/route.h"

/* Appends the page for a state to `*html` (up to its limit). WP_OK; WP_INVALID: `out` is no state
 * of a bench; WP_NO_MEMORY; WP_TOO_LARGE: beyond the buffer's limit. */
enum wp_status wp_bench_page(const cJSON *out, const struct wp_ask *ask, struct wp_bytes *html,
                             struct wp_error *error);

/* Appends what a device is told once it is enrolled: the way to its bench page. `out` is the answer
 * to the enrolment. Results as above. */
enum wp_status wp_bench_enrolled_page(const cJSON *out, const struct wp_ask *ask,
                                      struct wp_bytes *html, struct wp_error *error);

#endif
