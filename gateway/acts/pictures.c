/* The lab's own picture of how to export, shown at the bench. */
#include <string.h>

#include "acts/fleet_acts.h"
#include "base/bytes.h"

#define PICTURE_MOST ((size_t)512 * 1024)

/* PNG (ISO/IEC 15948) and JPEG (ISO/IEC 10918-1) begin so; nothing that can carry script does. */
static const char *type_of(const char *data, size_t size)
{
    if (size > 33 && !memcmp(data, "\x89PNG\r\n\x1a\n\0\0\0\rIHDR", 16))
        return "image/png";
    if (size > 33 && !memcmp(data, "\xFF\xD8\xFF", 3))
        return "image/jpeg";
    return NULL;
}

static enum wp_status put(struct wp_txn *txn, int64_t instrument, const struct wp_bytes *picture,
                          struct wp_error *error)
{
    const char *type = type_of(picture->data, picture->size);
    if (!type)
        return wp_fail(error, WP_INVALID, "The picture is neither PNG nor JPEG.");
    return wp_sql_run(txn->sql,
                      "INSERT INTO instrument_picture (instrument_id, type, bytes, changed_us) "
                      "VALUES (?1, ?2, ?3, ?4) ON CONFLICT (instrument_id) DO UPDATE SET "
                      "type = ?2, bytes = ?3, changed_us = ?4",
                      "itbi", instrument, type, picture->data, picture->size, txn->now);
}

WP_ACT(wp_act_instrument_picture)
{
    int64_t instrument = 0, one = 0;
    const char *text = wp_ask_text(ask, "picture");
    struct wp_bytes picture;
    (void)out;
    if (!text)
        return wp_fail(error, WP_INVALID, "\"picture\" is missing: PNG or JPEG as base64.");
    enum wp_status status =
        wp_ask_param_int(ask, 0, &instrument)
            ? wp_sql_int(txn->sql, &one, "SELECT 1 FROM instrument WHERE id = ?", "i", instrument)
            : WP_NOT_FOUND;
    if (status)
        return status == WP_NOT_FOUND ? wp_fail(error, status, "There is no such instrument.")
                                      : status;
    wp_bytes_init(&picture, PICTURE_MOST);
    if (!*text)
        status = wp_sql_run(txn->sql, "DELETE FROM instrument_picture WHERE instrument_id = ?", "i",
                            instrument);
    else if (wp_base64_read(text, &picture) == WP_TOO_LARGE)
        status =
            wp_fail(error, WP_TOO_LARGE, "A picture has at most %zu KiB.", PICTURE_MOST / 1024);
    else
        status = picture.size ? put(txn, instrument, &picture, error)
                              : wp_fail(error, WP_INVALID, "\"picture\" is not base64.");
    wp_bytes_release(&picture);
    return status ? status : wp_ask_record(txn, ask, "setting", "instrument", instrument, NULL);
}
