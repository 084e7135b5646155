#include "spectrum/spectrum.h"

#include <stdlib.h>
#include <string.h>

void wp_spectrum_release(struct wp_spectrum *spectrum)
{
    free(spectrum->title);
    free(spectrum->x);
    free(spectrum->y);
    for (size_t i = 0; i < spectrum->label_count; i++) {
        free(spectrum->labels[i].name);
        free(spectrum->labels[i].value);
    }
    free(spectrum->labels);
    memset(spectrum, 0, sizeof *spectrum);
}

void wp_reading_release(struct wp_reading *reading)
{
    for (size_t i = 0; i < reading->spectrum_count; i++)
        wp_spectrum_release(&reading->spectra[i]);
    free(reading->spectra);
    free(reading->warnings);
    memset(reading, 0, sizeof *reading);
}
