#include "zip.h"

#include <archive.h>
#include <archive_entry.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "base/bytes.h"

struct wp_zip {
    struct archive *archive;
    wp_zip_write write;
    void *arg;
    enum wp_status status;
};

static la_ssize_t on_write(struct archive *archive, void *arg, const void *data, size_t size)
{
    struct wp_zip *zip = arg;
    if (!zip->status)
        zip->status = zip->write(zip->arg, data, size);
    if (!zip->status)
        return (la_ssize_t)size;
    archive_set_error(archive, EIO, "not taken");
    return -1;
}

static enum wp_status outcome(struct wp_zip *zip, int rc)
{
    if (rc < ARCHIVE_WARN && !zip->status)
        zip->status = WP_IO;
    return zip->status;
}

enum wp_status wp_zip_begin(wp_zip_write write, void *arg, struct wp_zip **zip)
{
    struct wp_zip *made = calloc(1, sizeof *made);
    *zip = NULL;
    if (made)
        made->archive = archive_write_new();
    if (!made || !made->archive) {
        free(made);
        return WP_NO_MEMORY;
    }
    made->write = write;
    made->arg = arg;
    archive_write_set_format_zip(made->archive);
    archive_write_set_options(made->archive, "zip:compression=store,zip:hdrcharset=UTF-8");
    archive_write_set_bytes_per_block(made->archive, 16 * 1024);
    archive_write_set_bytes_in_last_block(made->archive, 1);
    enum wp_status status =
        outcome(made, archive_write_open(made->archive, made, NULL, on_write, NULL));
    if (status)
        (void)wp_zip_end(made);
    else
        *zip = made;
    return status;
}

enum wp_status wp_zip_add(struct wp_zip *zip, const char *name, const void *data, size_t size,
                          int64_t time_us)
{
    struct archive_entry *entry = archive_entry_new2(zip->archive);
    if (!entry)
        return WP_NO_MEMORY;
    archive_entry_set_pathname_utf8(entry, name);
    archive_entry_set_size(entry, (la_int64_t)size);
    archive_entry_set_filetype(entry, AE_IFREG);
    archive_entry_set_perm(entry, 0644);
    archive_entry_set_mtime(entry, (time_t)(time_us / 1000000), 0);
    enum wp_status status = outcome(zip, archive_write_header(zip->archive, entry));
    archive_entry_free(entry);
    if (!status && archive_write_data(zip->archive, data, size) != (la_ssize_t)size)
        status = outcome(zip, ARCHIVE_FATAL);
    return status;
}

enum wp_status wp_zip_end(struct wp_zip *zip)
{
    if (!zip)
        return WP_OK;
    enum wp_status status = outcome(zip, archive_write_close(zip->archive));
    archive_write_free(zip->archive);
    free(zip);
    return status;
}

void wp_zip_name(const char *text, char *out, size_t room)
{
    wp_text_clean(text, strlen(text), out, room);
    for (char *at = out; *at; at++)
        if (strchr("/\\:*?\"<>|", *at))
            *at = '_';
    size_t length = strlen(out);
    while (length > 0 && (out[length - 1] == ' ' || out[length - 1] == '.'))
        out[--length] = '\0';
    if (out[0] == '.')
        out[0] = '_';
    if (out[0] == '\0' && room > 1) {
        out[0] = '_';
        out[1] = '\0';
    }
}

/* What a spreadsheet may take for a formula, full-width forms too (OWASP, "CSV Injection"); blanks
 * before it are skipped, as some spreadsheets do. */
static bool begins_formula(const char *text)
{
    static const char *const wide[] = {"\xEF\xBC\x9D", "\xEF\xBC\x8B", "\xEF\xBC\x8D",
                                       "\xEF\xBC\xA0"}; /* = + - @ */
    if (text[0] && strchr("\t\r\n", text[0]))
        return true;
    text += strspn(text, " ");
    for (size_t i = 0; i < sizeof wide / sizeof wide[0]; i++)
        if (!strncmp(text, wide[i], 3))
            return true;
    return text[0] && strchr("=+-@\t\r\n", text[0]);
}

enum wp_status wp_csv_add(struct wp_bytes *line, const char *text, bool first)
{
    enum wp_status status = wp_bytes_add_text(line, first ? "\"" : ",\"");
    if (!status && begins_formula(text))
        status = wp_bytes_add_byte(line, '\'');
    for (; *text && !status; text++) {
        if (*text == '"')
            status = wp_bytes_add_byte(line, '"');
        if (!status)
            status = wp_bytes_add_byte(line, *text);
    }
    return status ? status : wp_bytes_add_byte(line, '"');
}
