#include "fonts.h"

#include <fontconfig/fontconfig.h>
#include <pango/pangofc-fontmap.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>

#include "fonts_conf.h"

/* Painters kept for the next call; more may be in use at once. */
#define PAINTERS_KEPT 8

struct wp_sheet_fonts {
    FcConfig *config;
    pthread_mutex_t mutex; /* guards the idle painters */
    struct sheet_painter *idle[PAINTERS_KEPT];
    size_t idle_count;
};

static void painter_free(struct sheet_painter *painter)
{
    if (!painter)
        return;
    if (painter->no_ligatures)
        pango_attr_list_unref(painter->no_ligatures);
    g_clear_object(&painter->layout);
    g_clear_object(&painter->context);
    g_clear_object(&painter->map);
    free(painter);
}

static struct sheet_painter *painter_new(FcConfig *config)
{
    struct sheet_painter *painter = calloc(1, sizeof *painter);
    if (!painter)
        return NULL;
    painter->map = pango_cairo_font_map_new_for_font_type(CAIRO_FONT_TYPE_FT);
    if (!painter->map) {
        painter_free(painter);
        return NULL;
    }
    pango_fc_font_map_set_config(PANGO_FC_FONT_MAP(painter->map), config);
    /* 72 dots an inch: a point of type is a unit of the drawing. */
    pango_cairo_font_map_set_resolution(PANGO_CAIRO_FONT_MAP(painter->map), 72.0);
    painter->context = pango_font_map_create_context(painter->map);
    /* The locale must not choose glyphs, or the bytes would differ between machines. */
    pango_context_set_language(painter->context, pango_language_from_string("en"));
    pango_context_set_round_glyph_positions(painter->context, FALSE);
    cairo_font_options_t *options = cairo_font_options_create();
    cairo_font_options_set_hint_style(options, CAIRO_HINT_STYLE_NONE);
    cairo_font_options_set_hint_metrics(options, CAIRO_HINT_METRICS_OFF);
    cairo_font_options_set_antialias(options, CAIRO_ANTIALIAS_GRAY);
    pango_cairo_context_set_font_options(painter->context, options);
    cairo_font_options_destroy(options);
    painter->layout = pango_layout_new(painter->context);
    pango_layout_set_single_paragraph_mode(painter->layout, TRUE);
    painter->no_ligatures = pango_attr_list_new();
    pango_attr_list_insert(painter->no_ligatures, pango_attr_font_features_new("liga=0,clig=0"));
    return painter;
}

static bool config_load(FcConfig *config, const char *path)
{
    if (path)
        return FcConfigParseAndLoad(config, (const FcChar8 *)path, FcTrue) == FcTrue;
    return FcConfigParseAndLoadFromMemory(config, fonts_conf, FcTrue) == FcTrue;
}

/* Pango has fontconfig read the system's settings, in a thread of its own, unless the process has a
 * configuration already. So the first one stays the current one; painters are told theirs. */
static void make_current(FcConfig *config)
{
    static atomic_flag done = ATOMIC_FLAG_INIT;
    if (!atomic_flag_test_and_set(&done))
        FcConfigSetCurrent(config);
}

static enum wp_status fonts_check(struct wp_sheet_fonts *fonts, const char *where,
                                  struct wp_error *error)
{
    struct sheet_painter *painter = sheet_painter_borrow(fonts);
    if (!painter)
        return wp_fail(error, WP_NO_MEMORY, "no memory for the fonts");
    sheet_painter_return(fonts, painter);
    if (wp_sheet_fonts_missing(fonts, "Wavepost 0123456789"))
        return wp_fail(error, WP_INVALID, "the fonts named by %s have no Latin letters", where);
    return WP_OK;
}

static enum wp_status fonts_load(struct wp_sheet_fonts *made, const char *path, const char *where,
                                 struct wp_error *error)
{
    made->config = FcConfigCreate();
    bool loaded = made->config && config_load(made->config, path);
    if (made->config && !loaded)
        return wp_fail(error, WP_NOT_FOUND, "%s cannot be read as a font configuration", where);
    if (!loaded || !FcConfigBuildFonts(made->config))
        return wp_fail(error, WP_NO_MEMORY, "no memory for the fonts");
    const FcFontSet *set = FcConfigGetFonts(made->config, FcSetSystem);
    if (!set || set->nfont == 0)
        return wp_fail(error, WP_INVALID, "%s names no font that is installed", where);
    return WP_OK;
}

enum wp_status wp_sheet_fonts_new(const char *config, struct wp_sheet_fonts **fonts,
                                  struct wp_error *error)
{
    *fonts = NULL;
    const char *path = config ? config : getenv("WAVEPOST_FONTS");
    const char *where = path ? path : "the built-in fonts.conf";
    struct wp_sheet_fonts *made = calloc(1, sizeof *made);
    if (!made)
        return wp_fail(error, WP_NO_MEMORY, "no memory for the fonts");
    pthread_mutex_init(&made->mutex, NULL);
    enum wp_status status = fonts_load(made, path, where, error);
    if (!status)
        make_current(made->config);
    if (!status)
        status = fonts_check(made, where, error);
    if (status) {
        wp_sheet_fonts_free(made);
        return status;
    }
    *fonts = made;
    return WP_OK;
}

void wp_sheet_fonts_free(struct wp_sheet_fonts *fonts)
{
    if (!fonts)
        return;
    for (size_t i = 0; i < fonts->idle_count; i++)
        painter_free(fonts->idle[i]);
    if (fonts->config)
        FcConfigDestroy(fonts->config);
    pthread_mutex_destroy(&fonts->mutex);
    free(fonts);
}

struct sheet_painter *sheet_painter_borrow(struct wp_sheet_fonts *fonts)
{
    struct sheet_painter *painter = NULL;
    pthread_mutex_lock(&fonts->mutex);
    if (fonts->idle_count)
        painter = fonts->idle[--fonts->idle_count];
    pthread_mutex_unlock(&fonts->mutex);
    return painter ? painter : painter_new(fonts->config);
}

void sheet_painter_return(struct wp_sheet_fonts *fonts, struct sheet_painter *painter)
{
    pthread_mutex_lock(&fonts->mutex);
    if (fonts->idle_count < PAINTERS_KEPT) {
        fonts->idle[fonts->idle_count++] = painter;
        painter = NULL;
    }
    pthread_mutex_unlock(&fonts->mutex);
    painter_free(painter);
}
