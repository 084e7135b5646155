/* The words of kinds, preparations, plates and verdicts, one table each, read both ways. */
#include <string.h>
#include <strings.h>

#include "spectrum/remarks.h"

static const char *const kinds[] = {
    [WP_KIND_SAMPLE] = "sample",
    [WP_KIND_REPEAT] = "repeat",
    [WP_KIND_BLANK] = "blank",
    [WP_KIND_BACKGROUND] = "background",
    [WP_KIND_STANDARD] = "standard",
    [WP_KIND_FILM_CHECK] = "film check",
    [WP_KIND_DEMONSTRATION] = "demonstration",
};

static const char *const preparations[] = {
    [WP_PREP_UNKNOWN] = "",
    [WP_PREP_LIQUID_FILM] = "liquid film",
    [WP_PREP_CAST_FILM] = "cast film",
    [WP_PREP_MULL] = "mull",
    [WP_PREP_PELLET] = "pellet",
    [WP_PREP_ATR] = "ATR",
    [WP_PREP_SOLUTION] = "solution",
    [WP_PREP_GAS] = "gas",
    [WP_PREP_OTHER] = "other",
};

static const char *const plates_names[] = {
    [WP_PLATES_UNKNOWN] = "",        [WP_PLATES_NACL] = "NaCl", [WP_PLATES_KBR] = "KBr",
    [WP_PLATES_CAF2] = "CaF2",       [WP_PLATES_ZNSE] = "ZnSe", [WP_PLATES_CSI] = "CsI",
    [WP_PLATES_DIAMOND] = "diamond", [WP_PLATES_NONE] = "none",
};

static const char *const verdicts[] = {
    [WP_USABLE] = "usable",
    [WP_USABLE_WITH_NOTE] = "note",
    [WP_RUN_AGAIN] = "again",
};

static const char *const verdict_sentences[] = {
    [WP_USABLE] = "usable",
    [WP_USABLE_WITH_NOTE] = "usable, with a note",
    [WP_RUN_AGAIN] = "better run again",
};

#define COUNT(table) (sizeof(table) / sizeof((table)[0]))

static const char *word(const char *const *table, size_t count, size_t index)
{
    return index < count ? table[index] : "";
}

/* The index of `text` in the table whatever its case; `count` if it is not there. */
static size_t find(const char *const *table, size_t count, const char *text)
{
    size_t i = 0;
    while (i < count && strcasecmp(table[i], text) != 0)
        i++;
    return i;
}

const char *wp_verdict_text(enum wp_verdict verdict)
{
    return word(verdicts, COUNT(verdicts), (size_t)verdict);
}

const char *wp_verdict_words(enum wp_verdict verdict)
{
    return word(verdict_sentences, COUNT(verdict_sentences), (size_t)verdict);
}

const char *wp_kind_text(enum wp_kind kind)
{
    return word(kinds, COUNT(kinds), (size_t)kind);
}

const char *wp_preparation_text(enum wp_preparation p)
{
    return word(preparations, COUNT(preparations), (size_t)p);
}

const char *wp_plates_text(enum wp_plates plates)
{
    return word(plates_names, COUNT(plates_names), (size_t)plates);
}

bool wp_kind_parse(const char *text, enum wp_kind *kind)
{
    size_t index = find(kinds, COUNT(kinds), text);
    if (index == COUNT(kinds))
        return false;
    *kind = (enum wp_kind)index;
    return true;
}

bool wp_preparation_parse(const char *text, enum wp_preparation *preparation)
{
    size_t index = find(preparations, COUNT(preparations), text);
    if (index == COUNT(preparations))
        return false;
    *preparation = (enum wp_preparation)index;
    return true;
}

bool wp_plates_parse(const char *text, enum wp_plates *plates)
{
    size_t index = find(plates_names, COUNT(plates_names), text);
    if (index == COUNT(plates_names))
        return false;
    *plates = (enum wp_plates)index;
    return true;
}
