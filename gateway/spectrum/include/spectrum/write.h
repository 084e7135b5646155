/* spectrum/write.h - a spectrum to the bytes of an open format.
 *
 * What is written re-reads (wp_read) to the same values: abscissae and ordinates agree to the last
 * digit the source carried. Text goes through clean-up: no control characters, no line that could
 * start a label ("##"), no spreadsheet formula at the start of a CSV field.
 */
#ifndef SPECTRUM_WRITE_H
#define SPECTRUM_WRITE_H

#include "base/bytes.h"
#include "spectrum/spectrum.h"

enum wp_jcamp_form { WP_JCAMP_AFFN, WP_JCAMP_DIFDUP };

/* Labels written beyond those of the spectrum itself; each may be NULL. Borrowed for the call. */
struct wp_write_notes {
    const char *origin;
    const char *owner;
    const char *sample;    /* ##SAMPLE DESCRIPTION */
    const char *procedure; /* ##SAMPLING PROCEDURE */
    const char *accession; /* ##$ACCESSION NUMBER */
};

/* Appends JCAMP-DX 5.01 text, lines of at most 80 characters ended by CR LF. `notes` may be NULL.
 * Errors: WP_INVALID for fewer than one point, else as wp_bytes_add. */
enum wp_status wp_write_jcamp(const struct wp_spectrum *spectrum, enum wp_jcamp_form form,
                              const struct wp_write_notes *notes, struct wp_bytes *out);

/* Appends RFC 4180 CSV: a header row naming quantity and unit, then x,y with decimal points, a
 * missing ordinate as an empty field. */
enum wp_status wp_write_csv(const struct wp_spectrum *spectrum, struct wp_bytes *out);

#endif
