/* dispatch/convert.h - a PDF turned into what an older printer understands. Private to dispatch. */
#ifndef DISPATCH_CONVERT_H
#define DISPATCH_CONVERT_H

#include "base/bytes.h"

/* Replaces the PDF in `bytes` by `language`: "pdf" (unchanged), "postscript" (level 2) or "pcl"
 * (PCL 5e), by running Ghostscript (`gs` on the PATH) with files in `folder`, for 30 s at most.
 * Blocking. WP_IO: gs is missing, failed or took too long; `bytes` is as it was. WP_INVALID: no
 * such language. */
enum wp_status wp_convert_pdf(const char *language, const char *folder, struct wp_bytes *bytes,
                              struct wp_error *error);

/* True for the three languages. */
bool wp_convert_knows(const char *language);

#endif
