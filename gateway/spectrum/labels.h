/* labels.h - lists of labels as spectra hold them.
 *
 * Private to the spectrum room. Pure; any thread.
 */
#ifndef SPECTRUM_LABELS_H
#define SPECTRUM_LABELS_H

#include "spectrum/spectrum.h"

/* A deep copy of `count` labels; false if out of memory (nothing is then held). */
bool wp_labels_copy(const struct wp_label *labels, size_t count, struct wp_label **copy,
                    size_t *copied);

/* Co-added scans as any of the usual labels states them, 0 if none does. */
int wp_labels_scans(const struct wp_label *labels, size_t count);

#endif
