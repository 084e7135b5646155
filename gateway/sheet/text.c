#include "text.h"

#include <string.h>

#include "base/bytes.h"
#include "show.h"

#define MARKS_MOST 4

static bool steers_direction(gunichar c)
{
    return c == 0x200E || c == 0x200F || c == 0x061C || (c >= 0x202A && c <= 0x202E) ||
           (c >= 0x2066 && c <= 0x2069);
}

/* Line and paragraph separators, joiners outside words, byte order marks, tags, private use. */
static bool shows_nothing(gunichar c)
{
    return c == 0x2028 || c == 0x2029 || c == 0x200B || c == 0x2060 || c == 0xFEFF ||
           (c >= 0xFFF9 && c <= 0xFFFB) || (c >= 0xE0000 && c <= 0xE0FFF);
}

static bool is_mark(gunichar c)
{
    GUnicodeType type = g_unichar_type(c);
    return type == G_UNICODE_NON_SPACING_MARK || type == G_UNICODE_ENCLOSING_MARK;
}

void sheet_clean(const char *text, char out[SHEET_TEXT_ROOM])
{
    char line[SHEET_TEXT_ROOM];
    wp_text_clean(text ? text : "", text ? strlen(text) : 0, line, sizeof line);
    char *end = out;
    int marks = 0;
    for (const char *p = line; *p; p = g_utf8_next_char(p)) {
        gunichar c = g_utf8_get_char(p);
        marks = is_mark(c) ? marks + 1 : 0;
        if (steers_direction(c) || shows_nothing(c) || marks > MARKS_MOST)
            continue;
        size_t size = (size_t)(g_utf8_next_char(p) - p);
        memcpy(end, p, size);
        end += size;
    }
    *end = '\0';
}

/* U+207B U+00B9, a raised "-1". */
#define RAISED "\xE2\x81\xBB\xC2\xB9"
#define RAISED_SIZE (sizeof RAISED - 1)
/* An en dash and a one: these the main font has, and another font for one sign costs much. */
#define PLAIN                                                                                      \
    "\xE2\x80\x93"                                                                                 \
    "1"
#define PLAIN_SIZE (sizeof PLAIN - 1)

static void add_attribute(PangoAttrList *list, PangoAttribute *attribute, size_t from, size_t size)
{
    attribute->start_index = (guint)from;
    attribute->end_index = (guint)(from + size);
    pango_attr_list_insert(list, attribute);
}

/* Sets "cm-1" with its exponent raised. */
static void set_raised(PangoLayout *layout, double points, const char *text)
{
    char plain[SHEET_TEXT_ROOM];
    size_t size = 0;
    PangoAttrList *list = pango_attr_list_new();
    for (const char *p = text; *p && size + PLAIN_SIZE < sizeof plain;) {
        if (strncmp(p, RAISED, RAISED_SIZE) != 0) {
            plain[size++] = *p++;
            continue;
        }
        memcpy(plain + size, PLAIN, PLAIN_SIZE);
        add_attribute(list, pango_attr_size_new_absolute((int)(points * 0.68 * PANGO_SCALE)), size,
                      PLAIN_SIZE);
        add_attribute(list, pango_attr_rise_new((int)(points * 0.36 * PANGO_SCALE)), size,
                      PLAIN_SIZE);
        size += PLAIN_SIZE;
        p += RAISED_SIZE;
    }
    plain[size] = '\0';
    pango_layout_set_attributes(layout, list);
    pango_attr_list_unref(list);
    pango_layout_set_text(layout, plain, (int)size);
}

static bool is_ascii(const char *text)
{
    for (; *text; text++)
        if ((unsigned char)*text >= 0x80)
            return false;
    return true;
}

static void layout_set(struct sheet_painter *painter, const struct sheet_type *type,
                       const char *text)
{
    PangoLayout *layout = painter->layout;
    PangoFontDescription *font = pango_font_description_new();
    pango_font_description_set_family_static(font, "Wavepost Sheet");
    pango_font_description_set_weight(font,
                                      type->strong ? PANGO_WEIGHT_SEMIBOLD : PANGO_WEIGHT_NORMAL);
    pango_font_description_set_absolute_size(font, type->size * PANGO_SCALE);
    pango_layout_set_font_description(layout, font);
    pango_font_description_free(font);
    pango_layout_set_width(layout, -1);
    pango_layout_set_height(layout, -1);
    pango_layout_set_ellipsize(layout, PANGO_ELLIPSIZE_NONE);
    if (strstr(text, RAISED)) {
        set_raised(layout, type->size, text);
        return;
    }
    pango_layout_set_attributes(layout, is_ascii(text) ? painter->no_ligatures : NULL);
    pango_layout_set_text(layout, text, -1);
}

static double layout_width(struct sheet_painter *painter)
{
    int width = 0;
    pango_layout_get_size(painter->layout, &width, NULL);
    return (double)width / PANGO_SCALE;
}

static double layout_baseline(struct sheet_painter *painter)
{
    return (double)pango_layout_get_baseline(painter->layout) / PANGO_SCALE;
}

double sheet_text_width(struct sheet_painter *painter, const struct sheet_type *type,
                        const char *text)
{
    layout_set(painter, type, text);
    return layout_width(painter);
}

double sheet_text(const struct sheet_pen *pen, const struct sheet_type *type, double x, double y,
                  double most, enum sheet_align align, const char *text)
{
    if (!*text)
        return 0;
    struct sheet_painter *painter = pen->painter;
    layout_set(painter, type, text);
    double width = layout_width(painter);
    if (most > 0 && width > most) {
        pango_layout_set_width(painter->layout, (int)(most * PANGO_SCALE));
        pango_layout_set_ellipsize(painter->layout, PANGO_ELLIPSIZE_END);
        width = most;
    }
    double left = align == SHEET_LEFT ? x : align == SHEET_CENTRE ? x - width / 2 : x - width;
    cairo_set_source_rgb(pen->cr, type->grey, type->grey, type->grey);
    cairo_move_to(pen->cr, left, y - layout_baseline(painter));
    sheet_show(pen->cr, painter->layout);
    return width;
}

int sheet_text_lines(const struct sheet_pen *pen, const struct sheet_type *type, double x, double y,
                     double width, int lines, const char *text)
{
    if (!*text)
        return 0;
    struct sheet_painter *painter = pen->painter;
    layout_set(painter, type, text);
    pango_layout_set_width(painter->layout, (int)(width * PANGO_SCALE));
    pango_layout_set_wrap(painter->layout, PANGO_WRAP_WORD_CHAR);
    pango_layout_set_height(painter->layout, -lines);
    pango_layout_set_ellipsize(painter->layout, PANGO_ELLIPSIZE_END);
    cairo_set_source_rgb(pen->cr, type->grey, type->grey, type->grey);
    cairo_move_to(pen->cr, x, y - layout_baseline(painter));
    sheet_show(pen->cr, painter->layout);
    return pango_layout_get_line_count(painter->layout);
}

void sheet_text_up(const struct sheet_pen *pen, const struct sheet_type *type, double x, double y,
                   const char *text)
{
    cairo_save(pen->cr);
    cairo_translate(pen->cr, x, y);
    cairo_rotate(pen->cr, -G_PI / 2);
    /* Half the height of a digit below the middle line. */
    sheet_text(pen, type, 0, type->size * 0.357, 0, SHEET_LEFT, text);
    cairo_restore(pen->cr);
}
