#include "bench_page.h"

#include <string.h>

#include "bench_sign_on_page.h"
#include "html.h"

/* Three minutes after sign-on without a file the bench says so. Common practice, no source. */
#define SILENCE_US (180 * (int64_t)1000000)

/* A verdict's shape, so that colour is never alone: circle, triangle, square. */
static const struct {
    const char *verdict, *shape;
} shapes[] = {
    {"usable", "<circle cx=\"10\" cy=\"10\" r=\"9\" fill=\"none\"/>"
               "<path d=\"M5.5 10.5l3 3 6-7\" fill=\"none\"/>"},
    {"note", "<path d=\"M10 2L19 18H1Z\" fill=\"none\"/><path d=\"M10 8v4.5M10 14.5v1.6\"/>"},
    {"again", "<rect x=\"1.5\" y=\"1.5\" width=\"17\" height=\"17\" rx=\"2\" fill=\"none\"/>"
              "<path d=\"M6 6l8 8M14 6l-8 8\"/>"},
};

static void verdict(struct wp_html *html, const cJSON *measurement)
{
    const char *word = wp_member_text(measurement, "verdict");
    for (size_t i = 0; word && i < sizeof shapes / sizeof shapes[0]; i++) {
        if (strcmp(word, shapes[i].verdict) != 0)
            continue;
        wp_html_raw(html, "<span class=\"mark ");
        wp_html_raw(html, shapes[i].verdict);
        wp_html_raw(html, "\"><svg viewBox=\"0 0 20 20\" stroke=\"currentColor\" "
                          "stroke-width=\"2\" aria-hidden=\"true\">");
        wp_html_raw(html, shapes[i].shape);
        wp_html_raw(html, "</svg>");
        wp_html_raw(html, "<span class=\"words\">");
        wp_html_text(html, wp_member_text(measurement, "verdict_words"));
        wp_html_raw(html, "</span>");
        wp_html_raw(html, "</span>");
    }
}

static void accession(struct wp_html *html, const cJSON *measurement)
{
    wp_html_raw(html, "<span class=\"accession\">");
    wp_html_text(html, wp_member_text(measurement, "accession"));
    wp_html_raw(html, "</span> ");
    wp_html_clock(html, wp_member_int(measurement, "measured_us"));
}

static void persons(struct wp_html *html, const cJSON *turn)
{
    const cJSON *person = NULL;
    bool first = true;
    cJSON_ArrayForEach(person, wp_member(turn, "persons"))
    {
        wp_html_raw(html, first ? "" : ", ");
        wp_html_text(html, wp_member_text(person, "name"));
        first = false;
    }
    if (first)
        wp_html_text(html, wp_member_text(turn, "guest"));
}

static void remarks(struct wp_html *html, const cJSON *measurement)
{
    const cJSON *remark = NULL;
    cJSON_ArrayForEach(remark, wp_member(measurement, "remarks"))
    {
        wp_html_raw(html, "<div class=\"remark\">");
        wp_html_around(html, "<p><strong>", wp_member_text(remark, "text"), "</strong></p>");
        wp_html_around(html, "<p>", wp_member_text(remark, "advice"), "</p>");
        wp_html_raw(html, "</div>");
    }
}

static void picture(struct wp_html *html, const cJSON *measurement)
{
    wp_html_raw(html, "<p><img class=\"sheet\" alt=\"Sheet of ");
    wp_html_text(html, wp_member_text(measurement, "accession"));
    wp_html_raw(html, "\" src=\"/api/v1/measurements/");
    wp_html_int(html, wp_member_int(measurement, "id"));
    wp_html_raw(html, "/sheet.png\"></p>");
}

static bool is_open(const cJSON *measurement)
{
    const char *kept = wp_member_text(measurement, "kept");
    return !kept || !strcmp(kept, "open");
}

static void outcome(struct wp_html *html, const cJSON *state, const cJSON *measurement)
{
    const char *kept = wp_member_text(measurement, "kept");
    int64_t id = wp_member_int(measurement, "id");
    if (is_open(measurement)) {
        wp_html_raw(html, "<div class=\"row big\">");
        wp_bench_button(html, state, "keep", "", id, "", "primary huge", "Keep and print");
        wp_bench_button(html, state, "again", "", id, "", "huge", "Run again");
        wp_bench_button(html, state, "keep", "", id,
                        "<input type=\"hidden\" name=\"print\" value=\"false\">", "quiet",
                        "Keep, no paper");
        wp_html_raw(html, "</div>");
    } else if (!strcmp(kept, "kept")) {
        wp_html_raw(html, "<p class=\"say good\"><strong>Kept.</strong> It is in the inbox.</p>");
    } else if (!strcmp(kept, "again")) {
        wp_html_raw(html, "<p class=\"say\"><strong>Set aside.</strong> Run it again when you are "
                          "ready.</p>");
    } else {
        wp_html_raw(html, "<p class=\"say\"><strong>Kept in the inbox, not printed.</strong></p>");
        wp_bench_button(html, state, "keep", "", id, "", "", "Print it too");
    }
}

static void answer_button(struct wp_html *html, const cJSON *state, int64_t delivery,
                          const char *answer, const char *text)
{
    wp_html_raw(html, "<form method=\"post\" action=\"/api/v1/deliveries/");
    wp_html_int(html, delivery);
    wp_html_raw(html, "/answer\"><input type=\"hidden\" name=\"then\" value=\"/bench/");
    wp_html_int(html, wp_member_int(wp_member(state, "instrument"), "id"));
    wp_html_raw(html, "\"><input type=\"hidden\" name=\"answer\" value=\"");
    wp_html_raw(html, answer);
    wp_html_raw(html, "\"><button>");
    wp_html_text(html, text);
    wp_html_raw(html, "</button></form>");
}

/* What became of the sheet, and the question about another room. */
static void paper(struct wp_html *html, const cJSON *state, const cJSON *measurement)
{
    const cJSON *print = wp_member(measurement, "print");
    const char *now = wp_member_text(print, "state");
    if (!now)
        return;
    wp_html_around(html, "<p class=\"say\">", wp_member_text(print, "reason"), "</p>");
    if (strcmp(now, "asking") != 0)
        return;
    wp_html_raw(html, "<div class=\"row big\">");
    answer_button(html, state, wp_member_int(print, "id"), "print", "Print there");
    answer_button(html, state, wp_member_int(print, "id"), "inbox", "Inbox only");
    wp_html_raw(html, "</div>");
}

static void spectrum(struct wp_html *html, const cJSON *state, const cJSON *measurement)
{
    wp_html_raw(html, "<section class=\"spectrum\"><p class=\"verdict-line huge\">");
    verdict(html, measurement);
    wp_html_raw(html, "</p><p>");
    accession(html, measurement);
    wp_html_raw(html, "</p>");
    remarks(html, measurement);
    outcome(html, state, measurement);
    paper(html, state, measurement);
    picture(html, measurement);
    wp_html_raw(html, "</section>");
}

static void look_again(struct wp_html *html, const cJSON *state)
{
    wp_html_raw(html, "<p class=\"row\"><a class=\"button huge\" href=\"/bench/");
    wp_html_int(html, wp_member_int(wp_member(state, "instrument"), "id"));
    wp_html_raw(html, "\">Look again</a></p>");
}

static void waiting(struct wp_html *html, const cJSON *state, const cJSON *turn)
{
    const cJSON *instrument = wp_member(state, "instrument");
    const cJSON *cautions = wp_member(state, "cautions");
    const char *how = wp_member_text(instrument, "how_to_export");
    const char *preparation = wp_member_text(turn, "preparation");
    bool pellet = preparation && !strcmp(preparation, "pellet");
    wp_html_raw(html, "<p class=\"wait\">Measure and save. The spectrum appears here.</p>");
    if (wp_member_int(state, "now_us") - wp_member_int(turn, "opened_us") > SILENCE_US)
        wp_html_around(html, "<p class=\"say note\"><strong>Nothing has arrived from ",
                       wp_member_text(instrument, "name"), ".</strong></p>");
    wp_html_around(html, "<p>", how, "</p>");
    wp_html_around(html, "<p class=\"caution\">",
                   wp_member_text(cautions, pellet ? "pellet" : "preparation"), "</p>");
    look_again(html, state);
}

static void turn_panel(struct wp_html *html, const cJSON *state, const cJSON *turn)
{
    const cJSON *current = wp_member(state, "current");
    wp_html_raw(html, "<section><div class=\"turn-head\"><div><h1>");
    persons(html, turn);
    wp_html_raw(html, "</h1><p class=\"soft\">");
    wp_html_text(html, wp_member_text(turn, "course"));
    wp_html_around(html, " ", wp_member_text(turn, "section_code"), "");
    wp_html_around(html, " \302\267 ", wp_member_text(turn, "experiment_title"), "");
    wp_html_around(html, " \302\267 sample ", wp_member_text(turn, "sample"), "");
    wp_html_raw(html, "</p></div>");
    wp_bench_button(html, state, "done", "?done=1", 0, "", "huge", "Done");
    wp_html_raw(html, "</div>");
    if (current && !cJSON_IsTrue(wp_member(current, "unclaimed")))
        spectrum(html, state, current);
    else
        waiting(html, state, turn);
    wp_html_raw(html, "<p><a class=\"button quiet\" href=\"/bench/");
    wp_html_int(html, wp_member_int(wp_member(state, "instrument"), "id"));
    wp_html_raw(html, "?over=1\">Somebody else? Sign on</a></p></section>");
}

static void question(struct wp_html *html, const cJSON *state, const cJSON *asked, int64_t section)
{
    const cJSON *turn = wp_member(state, "turn");
    const cJSON *measurement = wp_member(asked, "measurement");
    int64_t id = wp_member_int(measurement, "id");
    wp_html_raw(html, "<section class=\"question\"><h1>");
    wp_html_raw(html, turn ? "Still " : "Whose spectrum is this");
    persons(html, turn);
    wp_html_raw(html, "?</h1><p>");
    accession(html, measurement);
    wp_html_around(html, " <span class=\"soft\">", wp_member_text(asked, "text"), "</span>");
    wp_html_raw(html, "</p><div class=\"row big\">");
    if (turn)
        wp_bench_button(html, state, "answer", "", id,
                        "<input type=\"hidden\" name=\"same\" value=\"true\">", "primary huge",
                        "Yes");
    wp_bench_button(html, state, "answer", "", id,
                    "<input type=\"hidden\" name=\"nobody\" value=\"true\">", "quiet",
                    "Nobody here");
    if (!turn && is_open(measurement))
        wp_bench_button(html, state, "keep", "", id, "", "quiet", "Print it without a name");
    wp_html_raw(html, "</div><h2>");
    wp_html_raw(html, turn ? "No, I am \342\200\246</h2>" : "I am \342\200\246</h2>");
    wp_bench_answer_by_name(html, state, id, section);
    picture(html, measurement);
    wp_html_raw(html, "</section>");
}

static void hand_over(struct wp_html *html, const cJSON *state)
{
    const cJSON *line = NULL, *lines = wp_member(wp_member(state, "cautions"), "hand_over");
    wp_html_raw(html, "<section class=\"hand-over\"><img src=\"/hand-over.svg\" width=\"320\" "
                      "height=\"150\" alt=\"Sample out; plates wiped and back in the "
                      "desiccator.\">");
    cJSON_ArrayForEach(line, lines)
        wp_html_around(html, line == lines->child ? "<h1>" : "<p>", cJSON_GetStringValue(line),
                       line == lines->child ? "</h1>" : "</p>");
    wp_html_raw(html, "<p class=\"row big\"><a class=\"button primary huge\" href=\"/bench/");
    wp_html_int(html, wp_member_int(wp_member(state, "instrument"), "id"));
    wp_html_raw(html, "\">Next, please</a></p>");
    wp_bench_button(html, state, "plates-out", "?done=1", 0, "", "quiet",
                    "A plate is cloudy or broken: take out of use");
    wp_html_raw(html, "</section>");
}

static void nothing(struct wp_html *html, const cJSON *state)
{
    wp_html_around(html, "<p class=\"say note\" role=\"status\">",
                   wp_member_text(wp_member(state, "nothing"), "text"), "</p>");
}

static void messages(struct wp_html *html, const cJSON *state)
{
    const cJSON *message = NULL;
    cJSON_ArrayForEach(message, wp_member(state, "messages"))
    {
        const char *kind = wp_member_text(message, "kind");
        bool other = kind && !strcmp(kind, "other-file");
        wp_html_raw(html, "<p class=\"say note\">");
        wp_html_text(html, wp_member_text(message, "text"));
        if (other)
            wp_html_raw(html, ": this is not a spectrum file of a kind that is taken. Save the "
                              "spectrum as JCAMP-DX or text.");
        wp_html_raw(html, " <small>");
        wp_html_clock(html, wp_member_int(message, "at_us"));
        wp_html_raw(html, "</small></p>");
    }
}

/* Without script the page looks again by itself only while nobody is filling in a form. */
static void head(struct wp_html *html, const cJSON *state, bool waits)
{
    const cJSON *instrument = wp_member(state, "instrument");
    wp_html_raw(html, "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">"
                      "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">");
    if (waits)
        wp_html_raw(html, "<noscript><meta http-equiv=\"refresh\" content=\"2\"></noscript>");
    wp_html_around(html, "<title>", wp_member_text(instrument, "name"), " \302\267 bench</title>");
    wp_html_raw(html, "<link rel=\"icon\" href=\"/icon.svg\" type=\"image/svg+xml\">"
                      "<link rel=\"stylesheet\" href=\"/style.css\">"
                      "<link rel=\"stylesheet\" href=\"/parts.css\">"
                      "<link rel=\"stylesheet\" href=\"/assets/uplot.css\">"
                      "<link rel=\"stylesheet\" href=\"/spectrum.css\">"
                      "<link rel=\"stylesheet\" href=\"/bench.css\">"
                      "<script type=\"module\" src=\"/bench.js\"></script></head>"
                      "<body class=\"bench\" data-instrument=\"");
    wp_html_int(html, wp_member_int(instrument, "id"));
    wp_html_raw(html, "\"><header class=\"bar\"><div class=\"bench-bar\"><span "
                      "class=\"instrument\">");
    wp_html_text(html, wp_member_text(instrument, "name"));
    wp_html_raw(html, "</span><span class=\"soft\">");
    wp_html_text(html, wp_member_text(instrument, "place"));
    wp_html_raw(html, "</span><span id=\"printer\">");
    wp_html_text(html, wp_member_text(wp_member(state, "printer"), "name"));
    wp_html_around(html, ": ", wp_member_text(wp_member(state, "printer"), "state"), "");
    wp_html_raw(html, "</span></div></header><div id=\"bars\">");
    nothing(html, state);
    messages(html, state);
    wp_html_raw(html, "</div><main id=\"main\" tabindex=\"-1\">");
}

static void ownerless(struct wp_html *html, const cJSON *state, int64_t section)
{
    const cJSON *current = wp_member(state, "current");
    if (!cJSON_IsTrue(wp_member(current, "unclaimed")))
        return;
    wp_html_raw(html,
                "<section class=\"say note\"><p><strong>A spectrum without a name:</strong> ");
    accession(html, current);
    wp_html_raw(html, "</p><details><summary>It is mine</summary>");
    wp_bench_answer_by_name(html, state, wp_member_int(current, "id"), section);
    wp_html_raw(html, "</details></section>");
}

enum wp_status wp_bench_page(const cJSON *out, const struct wp_ask *ask, struct wp_bytes *bytes,
                             struct wp_error *error)
{
    struct wp_html html = {.bytes = bytes};
    const cJSON *turn = wp_member(out, "turn"), *asked = wp_member(out, "question");
    int64_t section = 0;
    bool over = wp_ask_flag(ask, "over");
    if (!wp_member(out, "instrument"))
        return wp_fail(error, WP_INVALID, "This is no state of a bench.");
    (void)wp_ask_int(ask, "section", &section);
    head(&html, out, turn && !asked && !over && !wp_member(out, "current"));
    if (asked) {
        question(&html, out, asked, section);
    } else if (turn && !over) {
        turn_panel(&html, out, turn);
    } else if (wp_ask_flag(ask, "done")) {
        hand_over(&html, out);
    } else {
        if (wp_ask_flag(ask, "claimed"))
            wp_html_raw(&html, "<p class=\"say good\" role=\"status\">It is yours, and in your "
                               "inbox.</p>");
        ownerless(&html, out, section);
        wp_bench_sign_on(&html, out, section);
    }
    wp_html_raw(&html, "</main></body></html>\n");
    return html.status;
}

enum wp_status wp_bench_enrolled_page(const cJSON *out, const struct wp_ask *ask,
                                      struct wp_bytes *bytes, struct wp_error *error)
{
    struct wp_html html = {.bytes = bytes};
    const cJSON *instrument = wp_member(out, "instrument");
    int64_t id = cJSON_IsNumber(instrument) ? (int64_t)instrument->valuedouble
                                            : wp_member_int(instrument, "id");
    (void)ask;
    if (!id)
        return wp_fail(error, WP_INVALID, "This is no answer to an enrolment.");
    wp_html_raw(&html, "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">"
                       "<meta name=\"viewport\" content=\"width=device-width\">"
                       "<title>Enrolled</title>"
                       "<link rel=\"icon\" href=\"/icon.svg\" type=\"image/svg+xml\">"
                       "<link rel=\"stylesheet\" href=\"/style.css\">"
                       "<link rel=\"stylesheet\" href=\"/parts.css\">"
                       "</head><body><main class=\"narrow\"><h1>This device is enrolled</h1>"
                       "<p class=\"row\"><a class=\"button primary\" href=\"/bench/");
    wp_html_int(&html, id);
    wp_html_raw(&html, "\">To the bench page</a></p></main></body></html>\n");
    return html.status;
}
