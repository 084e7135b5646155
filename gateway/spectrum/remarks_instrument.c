/* Which remarks, three turns running, are the instrument's and not the sample's. */
#include <string.h>

#include "spectrum/remarks.h"

/* Common practice, no source. Not here: what a sample, a cell or plates do as well (too strong, too
 * weak, baseline, slope, wet, fringes). */
static const struct {
    const char *code;
    const char *words;
} faults[] = {
    {"air", "take a new background"},
    {"noise", "look at energy and alignment"},
    {"over-100", "take a new background"},
    {"upside-down", "set the unit of the export"},
    {"single-beam", "export the spectrum that was divided by the background"},
    {"settings", "load the lab's method"},
    {"range", "load the lab's method: the range is short"},
    {"processed", "load the lab's method: it processes spectra by itself"},
};

const char *wp_remark_of_instrument(const char *code)
{
    for (size_t i = 0; code && i < sizeof faults / sizeof faults[0]; i++)
        if (!strcmp(faults[i].code, code))
            return faults[i].words;
    return NULL;
}
