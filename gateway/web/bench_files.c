/* Bench cards as PDF and picture, and the lab's picture of how to export. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "acts/render.h"
#include "acts/site.h"
#include "people/cards.h"
#include "request.h"
#include "sheet/cards.h"
#include "views/bench.h"

#define CARDS_MOST_BYTES ((size_t)32 * 1024 * 1024)
#define PICTURE_MOST ((size_t)512 * 1024)

struct card {
    char name[288];
    char digits[WP_CARD_ROOM];
};

struct cards {
    struct wp_request *request;
    struct card *list;
    size_t count;
    bool picture, letter;
    char title[160];
    struct wp_bytes bytes;
    enum wp_status status;
    struct wp_error error;
};

static void free_cards(void *state)
{
    struct cards *cards = state;
    wp_bytes_release(&cards->bytes);
    free(cards->list);
    free(cards);
}

static struct cards *new_cards(struct wp_sql *sql, struct wp_request *request, size_t most)
{
    struct cards *cards = calloc(1, sizeof *cards);
    const char *paper = wp_ask_text(&request->ask, "paper");
    if (!cards)
        return NULL;
    request->state = cards;
    request->state_free = free_cards;
    cards->request = request;
    cards->letter = paper ? !strcmp(paper, "letter") : wp_sheet_paper(sql) == WP_SHEET_LETTER;
    cards->list = calloc(most, sizeof *cards->list);
    wp_bytes_init(&cards->bytes, CARDS_MOST_BYTES);
    return cards->list ? cards : NULL;
}

enum wp_status wp_load_own_card(struct wp_sql *sql, int64_t now, struct wp_request *request)
{
    (void)now;
    cJSON *about = NULL;
    struct cards *cards = new_cards(sql, request, 1);
    if (!cards)
        return WP_NO_MEMORY;
    cards->picture = strstr(request->route->path, ".png") != NULL;
    snprintf(cards->title, sizeof cards->title, "bench card");
    enum wp_status status =
        wp_card_read(sql, wp_site.bench_key, request->who.id, cards->list[0].digits);
    if (status == WP_NOT_FOUND)
        return wp_fail(&request->error, status, "There is no card yet: make one first.");
    if (!status)
        status = wp_view_card(sql, &request->ask, &about, &request->error);
    const char *name = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(about, "name"));
    wp_text_copy(cards->list[0].name, sizeof cards->list[0].name, name);
    cards->count = 1;
    cJSON_Delete(about);
    return status;
}

/* The names as benches show them; who has no card is left out. */
static enum wp_status read_section(struct wp_sql *sql, struct cards *cards, const cJSON *people)
{
    const cJSON *person = NULL;
    enum wp_status status = WP_OK;
    cJSON_ArrayForEach(person, people)
    {
        struct card *card = &cards->list[cards->count];
        const cJSON *id = cJSON_GetObjectItemCaseSensitive(person, "id");
        if (status || cards->count == WP_CARDS_MOST || !cJSON_IsNumber(id))
            break;
        status = wp_card_read(sql, wp_site.bench_key, (int64_t)id->valuedouble, card->digits);
        wp_text_copy(card->name, sizeof card->name,
                     cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(person, "name")));
        cards->count += status == WP_OK;
        status = status == WP_NOT_FOUND ? WP_OK : status;
    }
    return status;
}

enum wp_status wp_load_section_cards(struct wp_sql *sql, int64_t now, struct wp_request *request)
{
    (void)now;
    cJSON *section = NULL;
    struct cards *cards = new_cards(sql, request, WP_CARDS_MOST + 1);
    if (!cards)
        return WP_NO_MEMORY;
    enum wp_status status = wp_view_card_names(sql, &request->ask, &section, &request->error);
    if (!status)
        status = read_section(sql, cards, cJSON_GetObjectItemCaseSensitive(section, "people"));
    const char *title = cJSON_GetStringValue(cJSON_GetObjectItemCaseSensitive(section, "title"));
    snprintf(cards->title, sizeof cards->title, "%s bench cards", title ? title : "");
    cJSON_Delete(section);
    if (!status && !cards->count)
        return wp_fail(&request->error, WP_NOT_FOUND, "There are no cards yet: make them first.");
    return status;
}

static void work_draw(void *job)
{
    struct cards *cards = job;
    struct wp_sheet_fonts *fonts = cards->request->web->options.fonts;
    struct wp_card_face *faces = calloc(cards->count, sizeof *faces);
    if (!faces) {
        cards->status = WP_NO_MEMORY;
        return;
    }
    for (size_t i = 0; i < cards->count; i++)
        faces[i] = (struct wp_card_face){cards->list[i].name, cards->list[i].digits};
    cards->status = cards->picture ? wp_cards_png(fonts, faces, &cards->bytes, &cards->error)
                                   : wp_cards_pdf(fonts, faces, cards->count,
                                                  cards->letter ? WP_SHEET_LETTER : WP_SHEET_A4,
                                                  cards->title, &cards->bytes, &cards->error);
    free(faces);
}

static void done_draw(void *job, bool ran)
{
    struct cards *cards = job;
    struct wp_request *request = cards->request;
    char name[200];
    size_t size = 0;
    if (!ran || cards->status) {
        wp_reply_problem(request, ran ? cards->status : WP_RETRY, &cards->error);
        return;
    }
    snprintf(name, sizeof name, "%s.%s", cards->title, cards->picture ? "png" : "pdf");
    char *data = wp_bytes_take(&cards->bytes, &size);
    wp_reply_document(request, cards->picture ? "image/png" : "application/pdf", false, name, data,
                      size);
}

void wp_serve_cards(struct wp_request *request)
{
    if (wp_lane_submit(request->web->options.compute, work_draw, done_draw, request->state))
        wp_job_park(request, wp_serve_cards);
}

/* ---- how to export ---- */

struct picture {
    char type[16];
    struct wp_bytes bytes;
};

static void free_picture(void *state)
{
    struct picture *picture = state;
    wp_bytes_release(&picture->bytes);
    free(picture);
}

enum wp_status wp_load_picture(struct wp_sql *sql, int64_t now, struct wp_request *request)
{
    (void)now;
    struct wp_rows rows;
    int64_t instrument = 0;
    struct picture *picture = calloc(1, sizeof *picture);
    if (!picture)
        return WP_NO_MEMORY;
    request->state = picture;
    request->state_free = free_picture;
    wp_bytes_init(&picture->bytes, PICTURE_MOST);
    if (!wp_ask_param_int(&request->ask, 0, &instrument))
        return WP_NOT_FOUND;
    enum wp_status status = wp_sql_query(
        sql, &rows, "SELECT type, bytes FROM instrument_picture WHERE instrument_id = ?", "i",
        instrument);
    if (status)
        return status;
    if (wp_rows_next(&rows)) {
        size_t size = 0;
        const void *bytes = wp_rows_blob(&rows, 1, &size);
        wp_text_copy(picture->type, sizeof picture->type, wp_rows_text(&rows, 0));
        status = wp_bytes_add(&picture->bytes, bytes, size);
    }
    enum wp_status ended = wp_rows_end(&rows);
    status = status ? status : ended;
    return status ? status : picture->type[0] ? WP_OK : WP_NOT_FOUND;
}

void wp_serve_picture(struct wp_request *request)
{
    struct picture *picture = request->state;
    size_t size = 0;
    char *data = wp_bytes_take(&picture->bytes, &size);
    wp_reply_document(request, picture->type, false,
                      strcmp(picture->type, "image/png") ? "export.jpg" : "export.png", data, size);
}
