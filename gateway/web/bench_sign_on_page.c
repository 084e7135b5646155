#include "bench_sign_on_page.h"

#include <stddef.h>
#include <string.h>

struct choice {
    const char *value, *text;
};
static const struct choice kinds[] = {{"sample", "Sample"},
                                      {"repeat", "Repeat"},
                                      {"blank", "Blank (clean plates)"},
                                      {"background", "Background"},
                                      {"standard", "Standard"},
                                      {"film check", "Film check"},
                                      {"demonstration", "Demonstration"},
                                      {NULL, NULL}};
static const struct choice preparations[] = {
    {"", "as usual here"},      {"liquid film", "Liquid film"},
    {"cast film", "Cast film"}, {"mull", "Mull"},
    {"pellet", "Pellet"},       {"ATR", "ATR"},
    {"solution", "Solution"},   {"gas", "Gas"},
    {"other", "Other"},         {NULL, NULL}};

static void bench_path(struct wp_html *html, const cJSON *state)
{
    wp_html_raw(html, "/bench/");
    wp_html_int(html, wp_member_int(wp_member(state, "instrument"), "id"));
}

void wp_bench_form(struct wp_html *html, const cJSON *state, const char *verb, const char *query)
{
    wp_html_raw(html, "<form method=\"post\" action=\"/api/v1");
    bench_path(html, state);
    wp_html_raw(html, "/");
    wp_html_raw(html, verb);
    wp_html_raw(html, "\"><input type=\"hidden\" name=\"then\" value=\"");
    bench_path(html, state);
    wp_html_raw(html, query);
    wp_html_raw(html, "\">");
}

void wp_bench_button(struct wp_html *html, const cJSON *state, const char *verb, const char *query,
                     int64_t measurement, const char *extra, const char *look, const char *text)
{
    wp_bench_form(html, state, verb, query);
    if (measurement) {
        wp_html_raw(html, "<input type=\"hidden\" name=\"measurement\" value=\"");
        wp_html_int(html, measurement);
        wp_html_raw(html, "\">");
    }
    wp_html_raw(html, extra);
    wp_html_raw(html, "<button class=\"");
    wp_html_raw(html, look);
    wp_html_raw(html, "\">");
    wp_html_text(html, text);
    wp_html_raw(html, "</button></form>");
}

static const cJSON *wanted_section(const cJSON *state, int64_t section)
{
    const cJSON *sections = wp_member(state, "sections"), *item = NULL, *now = NULL;
    cJSON_ArrayForEach(item, sections)
    {
        if (section && wp_member_int(item, "id") == section)
            return item;
        if (!now && cJSON_IsTrue(wp_member(item, "now")))
            now = item;
    }
    return now ? now : cJSON_GetArrayItem(sections, 0);
}

static void section_name(struct wp_html *html, const cJSON *section)
{
    wp_html_text(html, wp_member_text(section, "course"));
    wp_html_around(html, ", section ", wp_member_text(section, "code"), "");
}

/* The other sections as links, which need no script. */
static void other_sections(struct wp_html *html, const cJSON *state, const cJSON *shown,
                           const char *query)
{
    const cJSON *sections = wp_member(state, "sections"), *item = NULL;
    if (cJSON_GetArraySize(sections) < 2)
        return;
    wp_html_raw(html, "<p>Another section: ");
    cJSON_ArrayForEach(item, sections)
    {
        if (item == shown)
            continue;
        wp_html_raw(html, "<a class=\"button\" href=\"");
        bench_path(html, state);
        wp_html_raw(html, query);
        wp_html_raw(html, "section=");
        wp_html_int(html, wp_member_int(item, "id"));
        wp_html_raw(html, "\">");
        section_name(html, item);
        wp_html_raw(html, "</a> ");
    }
    wp_html_raw(html, "</p>");
}

static void names(struct wp_html *html, const cJSON *section)
{
    const cJSON *person = NULL;
    wp_html_raw(html, "<fieldset><legend>Your name</legend><div class=\"names\">");
    cJSON_ArrayForEach(person, wp_member(section, "roster"))
    {
        wp_html_raw(html, "<label><input type=\"radio\" name=\"person\" value=\"");
        wp_html_int(html, wp_member_int(person, "id"));
        wp_html_raw(html, "\"> ");
        wp_html_text(html, wp_member_text(person, "name"));
        wp_html_raw(html, "</label>");
    }
    wp_html_raw(html, "</div></fieldset>");
}

static void option(struct wp_html *html, const char *value, bool chosen)
{
    wp_html_raw(html, "<option value=\"");
    wp_html_text(html, value);
    wp_html_raw(html, chosen ? "\" selected>" : "\">");
}

static void option_id(struct wp_html *html, int64_t id)
{
    wp_html_raw(html, "<option value=\"");
    wp_html_int(html, id);
    wp_html_raw(html, "\">");
}

static void choose(struct wp_html *html, const char *name, const char *label,
                   const struct choice *choices)
{
    wp_html_raw(html, "<div class=\"field\"><label>");
    wp_html_raw(html, label);
    wp_html_raw(html, " <select name=\"");
    wp_html_raw(html, name);
    wp_html_raw(html, "\">");
    for (; choices->value; choices++) {
        option(html, choices->value, false);
        wp_html_raw(html, choices->text);
        wp_html_raw(html, "</option>");
    }
    wp_html_raw(html, "</select></label></div>");
}

static void experiments(struct wp_html *html, const cJSON *section)
{
    const cJSON *experiment = NULL, *list = wp_member(section, "experiments");
    if (!cJSON_GetArraySize(list))
        return;
    wp_html_raw(html, "<div class=\"field\"><label>Experiment <select name=\"experiment\">");
    cJSON_ArrayForEach(experiment, list)
    {
        option_id(html, wp_member_int(experiment, "id"));
        wp_html_text(html, wp_member_text(experiment, "code"));
        wp_html_around(html, " ", wp_member_text(experiment, "title"), "");
        wp_html_raw(html, "</option>");
    }
    wp_html_raw(html, "</select></label></div>");
}

static void partner(struct wp_html *html, const cJSON *section)
{
    const cJSON *person = NULL;
    wp_html_raw(html, "<div class=\"field\"><label>With <select name=\"partner\">"
                      "<option value=\"\">alone</option>");
    cJSON_ArrayForEach(person, wp_member(section, "roster"))
    {
        option_id(html, wp_member_int(person, "id"));
        wp_html_text(html, wp_member_text(person, "name"));
        wp_html_raw(html, "</option>");
    }
    wp_html_raw(html, "</select></label></div>");
}

/* What the experiments know as samples, to choose from where the browser can. */
static void sample(struct wp_html *html, const cJSON *section)
{
    const cJSON *experiment = NULL, *name = NULL;
    wp_html_raw(html, "<div class=\"field\"><label>Sample, as on its label <input name=\"sample\" "
                      "maxlength=\"127\" list=\"samples\" autocomplete=\"off\"></label>"
                      "<datalist id=\"samples\">");
    cJSON_ArrayForEach(experiment, wp_member(section, "experiments"))
    {
        cJSON_ArrayForEach(name, wp_member(experiment, "samples"))
        {
            if (!cJSON_IsString(name))
                continue;
            option(html, name->valuestring, false);
            wp_html_raw(html, "</option>");
        }
    }
    wp_html_raw(html, "</datalist></div>");
}

static void hidden_section(struct wp_html *html, const cJSON *section)
{
    wp_html_raw(html, "<input type=\"hidden\" name=\"section\" value=\"");
    wp_html_int(html, wp_member_int(section, "id"));
    wp_html_raw(html, "\">");
}

void wp_bench_turn_fields(struct wp_html *html, const cJSON *section)
{
    experiments(html, section);
    sample(html, section);
    choose(html, "kind", "Kind", kinds);
    choose(html, "preparation", "Preparation", preparations);
}

/* A code reader types into the field that has the focus, and ends with Enter. */
static void card_form(struct wp_html *html, const cJSON *state)
{
    wp_html_raw(html, "<form method=\"post\" action=\"");
    bench_path(html, state);
    wp_html_raw(html, "\"><div class=\"field\"><label>Card, PIN or number <input name=\"card\" "
                      "required maxlength=\"64\" autocomplete=\"off\" autofocus></label></div>"
                      "<p class=\"row\"><button>This is me</button></p></form>");
}

static void claim_form(struct wp_html *html, const cJSON *state, const cJSON *section)
{
    const cJSON *person = NULL;
    wp_html_raw(html, "<details class=\"claim\"><summary>Claim a sheet by its code</summary>"
                      "<form method=\"post\" action=\"/api/v1/claims\">"
                      "<input type=\"hidden\" name=\"then\" value=\"");
    bench_path(html, state);
    wp_html_raw(html,
                "?claimed=1\"><div class=\"fields\"><div class=\"field\"><label>Code on the "
                "sheet <input name=\"code\" required autocomplete=\"off\" "
                "autocapitalize=\"characters\"></label></div><div class=\"field\"><label>Your "
                "name <select name=\"person\" required><option value=\"\"></option>");
    cJSON_ArrayForEach(person, wp_member(section, "roster"))
    {
        option_id(html, wp_member_int(person, "id"));
        wp_html_text(html, wp_member_text(person, "name"));
        wp_html_raw(html, "</option>");
    }
    wp_html_raw(html,
                "</select></label></div></div><p class=\"row\"><button>It is mine</button></p>"
                "</form></details>");
}

void wp_bench_sign_on(struct wp_html *html, const cJSON *state, int64_t wanted)
{
    const cJSON *section = wanted_section(state, wanted);
    wp_html_raw(html, "<section><h1>Who is measuring?</h1>");
    wp_html_around(html, "<p class=\"caution\">",
                   wp_member_text(wp_member(state, "cautions"), "sign_on"), "</p>");
    if (!section) {
        wp_html_raw(html, "<p class=\"say note\">No section is set up. Ask staff.</p></section>");
        return;
    }
    wp_html_raw(html, "<p>");
    section_name(html, section);
    wp_html_raw(html, "</p>");
    other_sections(html, state, section, "?");
    card_form(html, state);
    wp_bench_form(html, state, "sign-on", "");
    hidden_section(html, section);
    names(html, section);
    wp_html_raw(html, "<div class=\"fields\">");
    wp_bench_turn_fields(html, section);
    partner(html, section);
    wp_html_raw(html, "<div class=\"field\"><label>A visitor: label for the sheet <input "
                      "name=\"guest\" maxlength=\"60\" autocomplete=\"off\"></label></div></div>"
                      "<p class=\"row\"><button class=\"primary huge\">Start</button></p>"
                      "</form>");
    claim_form(html, state, section);
    wp_html_raw(html, "</section>");
}

void wp_bench_answer_by_name(struct wp_html *html, const cJSON *state, int64_t measurement,
                             int64_t wanted)
{
    const cJSON *section = wanted_section(state, wanted);
    if (!section)
        return;
    other_sections(html, state, section, "?who=1&amp;");
    wp_bench_form(html, state, "answer", "");
    wp_html_raw(html, "<input type=\"hidden\" name=\"measurement\" value=\"");
    wp_html_int(html, measurement);
    wp_html_raw(html, "\">");
    hidden_section(html, section);
    names(html, section);
    wp_html_raw(html, "<p class=\"row\"><button class=\"primary huge\">This is me</button></p>"
                      "</form>");
}
