#include "labels.h"

#include <stdlib.h>
#include <string.h>

static int count_in(const char *text)
{
    while (*text == ' ' || *text == '=' || *text == ':')
        text++;
    char *end;
    long value = strtol(text, &end, 10);
    return end > text && value > 0 && value <= 1000000 ? (int)value : 0;
}

int wp_labels_scans(const struct wp_label *labels, size_t count)
{
    /* Common practice, no source but .AVERAGES (5.00, for NMR, used by infrared writers too). */
    static const char *const names[] = {
        ".AVERAGES", "SCANS",         "$SCANS",      "NSCANS",    "$NSCANS",      "$NUMBEROFSCANS",
        "COADDS",    "NUMBEROFSCANS", "SAMPLESCANS", "$COADDS",   "COADDEDSCANS", "$SAMPLESCANS",
        "AVERAGES",  "$COADDEDSCANS", "NOOFSCANS",   "$AVERAGES", "ACCUMULATIONS"};
    for (size_t i = 0; i < count; i++) {
        const char *name = labels[i].name;
        for (size_t j = 0; j < sizeof names / sizeof names[0]; j++)
            if (strcmp(name, names[j]) == 0 && count_in(labels[i].value))
                return count_in(labels[i].value);
        if (strcmp(name, "INSTRUMENTPARAMETERS") == 0 || strcmp(name, "DATAPROCESSING") == 0) {
            const char *scans = strcasestr(labels[i].value, "scans");
            if (scans && count_in(scans + 5))
                return count_in(scans + 5);
        }
    }
    return 0;
}
