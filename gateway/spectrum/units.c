#include "units.h"

#include <math.h>
#include <string.h>

/* Keeps letters, digits, "%", "/" and "-" in capitals, so that words can be looked for. The minus
 * signs and superscripts of Unicode, and the micro sign, become their ASCII forms. */
static void squeeze(const char *text, char *out, size_t room)
{
    static const struct {
        const char *from;
        const char *to;
    } forms[] = {
        {"\xE2\x81\xBB", "-"}, {"\xE2\x88\x92", "-"}, {"\xE2\x80\x93", "-"}, {"\xC2\xB9", "1"},
        {"\xC2\xAF", "-"},     {"\xC2\xB5", "U"},     {"\xCE\xBC", "U"},
    };
    size_t used = 0;
    while (*text && used + 1 < room) {
        bool matched = false;
        bool ascii = (unsigned char)*text < 0x80;
        for (size_t i = 0; !ascii && i < sizeof forms / sizeof forms[0] && !matched; i++) {
            size_t length = strlen(forms[i].from);
            if (strncmp(text, forms[i].from, length) == 0) {
                out[used++] = forms[i].to[0];
                text += length;
                matched = true;
            }
        }
        if (matched)
            continue;
        char c = *text++;
        if (c >= 'a' && c <= 'z')
            c = (char)(c - 'a' + 'A');
        if ((c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '%' || c == '/' || c == '-')
            out[used++] = c;
    }
    out[used] = '\0';
}

static bool has(const char *text, const char *word)
{
    return strstr(text, word) != NULL;
}

static bool is(const char *text, const char *word)
{
    return strcmp(text, word) == 0;
}

static bool letter(char c)
{
    return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z');
}

/* True if `word` stands in `text` as a word of its own, in any case: "Wavelength / nm". */
static bool has_word(const char *text, const char *word)
{
    size_t length = strlen(word);
    for (const char *p = text; (p = strcasestr(p, word)) != NULL; p++)
        if ((p == text || !letter(p[-1])) && !letter(p[length]))
            return true;
    return false;
}

enum wp_unit_words wp_x_unit_read(const char *text, enum wp_x_unit *unit)
{
    char s[96];
    squeeze(text, s, sizeof s);
    *unit = WP_X_OTHER;
    static const char *const others[] = {"SECONDS", "HZ", "PPM", "M/Z", "ARBITRARYUNITS"};
    for (size_t i = 0; i < sizeof others / sizeof others[0]; i++)
        if (is(s, others[i]))
            return WP_WORDS_STANDARD;
    if (is(s, "1/CM") || is(s, "MICROMETERS") || is(s, "NANOMETERS")) {
        *unit = s[0] == '1' ? WP_X_CM1 : s[0] == 'M' ? WP_X_UM : WP_X_NM;
        return WP_WORDS_STANDARD;
    }
    if (has(s, "CM-1") || has(s, "1/CM") || is(s, "L/CM") || has(s, "/CM") ||
        has(s, "WAVENUMBER") || has(s, "RAMANSHIFT") || has(s, "RECIPROCALCENT") ||
        has(s, "INVERSECENT"))
        *unit = WP_X_CM1;
    else if (has(s, "MICROMET") || has(s, "MICRON") || has_word(text, "um") ||
             has_word(text, "\xC2\xB5m") || has_word(text, "\xCE\xBCm"))
        *unit = WP_X_UM;
    else if (has(s, "NANOMET") || has_word(text, "nm"))
        *unit = WP_X_NM;
    return *unit == WP_X_OTHER ? WP_WORDS_NONE : WP_WORDS_OTHER;
}

enum wp_unit_words wp_y_unit_read(const char *text, enum wp_y_unit *unit)
{
    char s[96];
    squeeze(text, s, sizeof s);
    *unit = WP_Y_OTHER;
    if (is(s, "TRANSMITTANCE") || is(s, "ABSORBANCE")) {
        *unit = s[0] == 'T' ? WP_Y_TRANSMITTANCE : WP_Y_ABSORBANCE;
        return WP_WORDS_STANDARD;
    }
    if (is(s, "%TRANSMITTANCE") || is(s, "PERCENTTRANSMITTANCE")) {
        *unit = WP_Y_PERCENT;
        return WP_WORDS_STANDARD;
    }
    static const char *const others[] = {"REFLECT",    "KUBELKA",   "ARBITRARY", "INTENSITY",
                                         "COUNTS",     "ABSORPTIV", "EMISS",     "LOG1/R",
                                         "SINGLEBEAM", "ABUNDANCE"};
    for (size_t i = 0; i < sizeof others / sizeof others[0]; i++)
        if (has(s, others[i]))
            return WP_WORDS_STANDARD;
    bool percent = has(s, "%") || has(s, "PERCENT") || has(s, "PCT");
    if (is(s, "%R"))
        return WP_WORDS_STANDARD;
    if (has(s, "TRANSM") || is(s, "%T") || is(s, "T%") || is(s, "T") || is(s, "PERCENTT"))
        *unit = percent ? WP_Y_PERCENT : WP_Y_TRANSMITTANCE;
    else if (strncmp(s, "ABSOR", 5) == 0 || has(s, "EXTINCTION") || has(s, "EXTINKTION") ||
             strncmp(s, "OPTICALDENS", 11) == 0 || is(s, "ABS") || is(s, "A") || is(s, "ABSAU") ||
             has(s, "ABSORBANCE") || is(s, "OD"))
        *unit = WP_Y_ABSORBANCE;
    return *unit == WP_Y_OTHER ? WP_WORDS_NONE : WP_WORDS_OTHER;
}

enum wp_technique wp_technique_read(const char *text)
{
    char s[128];
    squeeze(text, s, sizeof s);
    if (has(s, "RAMAN"))
        return WP_RAMAN;
    if (has(s, "INFRARED") || has(s, "FTIR") || has(s, "FT-IR") || is(s, "IR") || has(s, "IRSPEC"))
        return WP_INFRARED;
    if (strncmp(s, "UV", 2) == 0 || has(s, "ULTRAVIOLET") || has(s, "UV/VIS") || has(s, "UV-VIS") ||
        has(s, "UVVIS") || has(s, "VISIBLE"))
        return WP_UV_VIS;
    return WP_OTHER_TECHNIQUE;
}

bool wp_looks_percent(const double *y, size_t count)
{
    size_t known = 0;
    size_t high = 0;
    for (size_t i = 0; i < count; i++) {
        known += isnan(y[i]) ? 0 : 1;
        high += y[i] > 1.5;
    }
    return high * 50 > known;
}
