/* pdf_tools.h - looks at a PDF with the tools of others: qpdf, pdftotext, pdfinfo. */
#ifndef SHEET_PDF_TOOLS_H
#define SHEET_PDF_TOOLS_H

#include "base/bytes.h"

/* Writes the bytes to a new temporary file and returns its path, which the caller frees after
 * removing the file. Fails the test if that is impossible. */
char *pdf_save(const struct wp_bytes *bytes);

/* Runs `tool path more` and returns what it printed; the caller frees it. A tool that is missing
 * or ends with another code than 0 fails the test. */
char *pdf_run(const char *tool, const char *path, const char *more);

/* Saves, runs, removes. */
char *pdf_tool(const struct wp_bytes *bytes, const char *tool, const char *more);

#endif
