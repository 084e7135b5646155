/* bench_sign_on_page.h - the forms that say who is measuring. Private to the bench page. */
#ifndef BENCH_SIGN_ON_PAGE_H
#define BENCH_SIGN_ON_PAGE_H

#include "html.h"

/* The sign-on: names, experiment, sample and the rest with their defaults. `section` is the one
 * asked for, 0: the one that meets now. */
void wp_bench_sign_on(struct wp_html *html, const cJSON *state, int64_t section);

/* The same roster as an answer to whose `measurement` is. */
void wp_bench_answer_by_name(struct wp_html *html, const cJSON *state, int64_t measurement,
                             int64_t section);

/* Experiment, sample, kind and preparation, with their defaults. */
void wp_bench_turn_fields(struct wp_html *html, const cJSON *section);

/* Opens a form that goes to one of the bench's acts and comes back to the page; `query` is appended
 * to the way back ("?done=1", ""). The caller closes it. */
void wp_bench_form(struct wp_html *html, const cJSON *state, const char *verb, const char *query);

/* A form of one button, about one measurement if `measurement` is not 0; `extra` is markup of ours
 * inside it. */
void wp_bench_button(struct wp_html *html, const cJSON *state, const char *verb, const char *query,
                     int64_t measurement, const char *extra, const char *look, const char *text);

#endif
