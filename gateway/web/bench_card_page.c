#include "bench_card_page.h"

#include "bench_sign_on_page.h"
#include "html.h"

/* What a bench's forms need of its state. */
static cJSON *as_state(const cJSON *out, int64_t instrument)
{
    cJSON *state = cJSON_CreateObject();
    cJSON_AddNumberToObject(cJSON_AddObjectToObject(state, "instrument"), "id", (double)instrument);
    cJSON_AddItemToArray(cJSON_AddArrayToObject(state, "sections"),
                         cJSON_Duplicate(wp_member(out, "section"), true));
    return state;
}

static void hidden(struct wp_html *html, const cJSON *out)
{
    wp_html_raw(html, "<input type=\"hidden\" name=\"pass\" value=\"");
    wp_html_text(html, wp_member_text(out, "pass"));
    wp_html_raw(html, "\">");
}

/* A form of one button that sends the pass. */
static void pass_button(struct wp_html *html, const cJSON *state, const cJSON *out,
                        const char *verb, const char *look, const char *text)
{
    wp_bench_form(html, state, verb, "");
    hidden(html, out);
    wp_html_raw(html, "<button class=\"");
    wp_html_raw(html, look);
    wp_html_raw(html, "\">");
    wp_html_raw(html, text);
    wp_html_raw(html, "</button></form>");
}

static void open_turn(struct wp_html *html, const cJSON *state, const cJSON *out)
{
    const cJSON *person = NULL, *open = wp_member(out, "open");
    if (!cJSON_GetArraySize(open))
        return;
    wp_html_raw(html, "<p class=\"say note\"><strong>");
    cJSON_ArrayForEach(person, open)
    {
        wp_html_raw(html, person == open->child ? "" : ", ");
        wp_html_text(html, wp_member_text(person, "name"));
    }
    wp_html_raw(html, " is measuring.</strong> <em>Start</em> ends that turn.</p>"
                      "<div class=\"row\">");
    pass_button(html, state, out, "join", "huge", "Measure together");
    pass_button(html, state, out, "wait", "quiet", "Wait in line");
    wp_html_raw(html, "</div>");
}

static void start_form(struct wp_html *html, const cJSON *state, const cJSON *out)
{
    const cJSON *section = wp_member(out, "section");
    wp_bench_form(html, state, "sign-on", "");
    hidden(html, out);
    wp_html_raw(html, "<input type=\"hidden\" name=\"section\" value=\"");
    wp_html_int(html, wp_member_int(section, "id"));
    wp_html_raw(html, "\"><p class=\"row\"><button class=\"primary huge\" autofocus>Start</button>"
                      "</p><div class=\"fields\">");
    wp_bench_turn_fields(html, section);
    wp_html_raw(html, "</div></form>");
}

static void body(struct wp_html *html, const cJSON *state, const cJSON *out, int64_t instrument)
{
    const cJSON *section = wp_member(out, "section");
    wp_html_raw(html, "<section class=\"confirm card\"><h1>");
    wp_html_text(html, wp_member_text(wp_member(out, "person"), "name"));
    wp_html_raw(html, "</h1><p class=\"soft\">");
    wp_html_text(html, wp_member_text(section, "course"));
    wp_html_around(html, ", section ", wp_member_text(section, "code"), "");
    wp_html_raw(html, "</p>");
    if (cJSON_IsTrue(wp_member(out, "mine"))) {
        wp_html_raw(html, "<p>You are signed on.</p><div class=\"row\">");
        pass_button(html, state, out, "still", "primary huge", "Still me: go on");
        wp_html_raw(html, "</div>");
    } else {
        open_turn(html, state, out);
        start_form(html, state, out);
    }
    wp_html_raw(html, "<p><a class=\"button quiet\" href=\"/bench/");
    wp_html_int(html, instrument);
    wp_html_raw(html, "\">Not me</a></p></section>");
}

enum wp_status wp_bench_card_page(const cJSON *out, const struct wp_ask *ask,
                                  struct wp_bytes *bytes, struct wp_error *error)
{
    struct wp_html html = {.bytes = bytes};
    int64_t instrument = 0;
    if (!wp_ask_param_int(ask, 0, &instrument) || !wp_member(out, "pass"))
        return wp_fail(error, WP_INVALID, "This is no answer to a card.");
    cJSON *state = as_state(out, instrument);
    wp_html_raw(&html, "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">"
                       "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">"
                       "<title>Is this you?</title>"
                       "<link rel=\"icon\" href=\"/icon.svg\" type=\"image/svg+xml\">"
                       "<link rel=\"stylesheet\" href=\"/style.css\">"
                       "<link rel=\"stylesheet\" href=\"/parts.css\">"
                       "<link rel=\"stylesheet\" href=\"/bench.css\"></head>"
                       "<body class=\"bench\"><main id=\"main\" tabindex=\"-1\">");
    body(&html, state, out, instrument);
    wp_html_raw(&html, "</main></body></html>\n");
    cJSON_Delete(state);
    return html.status;
}
