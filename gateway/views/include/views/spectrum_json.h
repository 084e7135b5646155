/* views/spectrum_json.h - spectra, bands and remarks as JSON, the same for every reader of them.
 *
 * The shapes are those of `wavepost inspect --json`: positions and widths in cm-1, prominence in
 * absorbance, transmittance as a ratio. What is not known is null.
 *
 * Pure. Thread: any. Every function returns a new value that the caller deletes, NULL if out of
 * memory.
 */
#ifndef VIEWS_SPECTRUM_JSON_H
#define VIEWS_SPECTRUM_JSON_H

#include <cjson/cJSON.h>

#include "spectrum/film.h"
#include "spectrum/read.h"
#include "spectrum/remarks.h"

/* {"verdict":..,"remarks":[..],"bands":[..],"air":..,"cut_off":..,"noise":..,"baseline":..} */
cJSON *wp_json_examination(const struct wp_examination *examination);

/* One element of "spectra". `examination` may be NULL (then no bands, verdict "usable"). */
cJSON *wp_json_spectrum(const struct wp_spectrum *spectrum,
                        const struct wp_examination *examination, bool points);

/* A film check: {"passed","mean_shift","noise","resolution_ok","depth_1583","depth_2850","bands":
 * [{"expected","tolerance","found","within"}]}; depths in absorbance, noise in %T rms. */
cJSON *wp_json_film(const struct wp_film_check *check);

/* One element of the array of `inspect`: `spectra[i]` is examined by the caller. `sha256` is
 * hexadecimal. */
cJSON *wp_json_reading(const char *file, const char *sha256, const struct wp_reading *reading,
                       const struct wp_examination *examinations, bool points);

#endif
