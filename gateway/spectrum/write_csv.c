#include <math.h>
#include <string.h>

#include "number.h"
#include "spectrum/number_text.h"
#include "spectrum/write.h"

static const char *x_heading(enum wp_x_unit unit)
{
    switch (unit) {
    case WP_X_CM1:
        return "Wavenumber (cm-1)";
    case WP_X_UM:
        return "Wavelength (um)";
    case WP_X_NM:
        return "Wavelength (nm)";
    default:
        return "x";
    }
}

static const char *y_heading(enum wp_y_unit unit)
{
    switch (unit) {
    case WP_Y_TRANSMITTANCE:
        return "Transmittance";
    case WP_Y_PERCENT:
        return "Transmittance (%)";
    case WP_Y_ABSORBANCE:
        return "Absorbance";
    default:
        return "y";
    }
}

enum wp_status wp_write_csv(const struct wp_spectrum *spectrum, struct wp_bytes *out)
{
    if (spectrum->count == 0)
        return WP_INVALID;
    enum wp_status status =
        wp_bytes_addf(out, "%s,%s\r\n", x_heading(spectrum->x_unit), y_heading(spectrum->y_unit));
    for (size_t i = 0; i < spectrum->count && !status; i++) {
        char line[2 * WP_NUMBER_TEXT + 4];
        size_t size = wp_number_text(spectrum->x[i], line);
        line[size++] = ',';
        if (!isnan(spectrum->y[i]))
            size += wp_number_text(spectrum->y[i], line + size);
        line[size++] = '\r';
        line[size++] = '\n';
        status = wp_bytes_add(out, line, size);
    }
    return status;
}
