#include <string.h>

#include "base/clock.h"
#include "base/embed.h"
#include "base/log.h"
#include "parts.h"

WP_EMBEDDED(db_migration);

static enum wp_status apply(struct wp_sql *sql, const struct wp_embedded *migration)
{
    enum wp_status status = wp_sql_script(sql, "BEGIN IMMEDIATE");
    if (status)
        return status;
    status = wp_sql_script(sql, migration->data);
    if (!status)
        status = wp_sql_run(sql, "INSERT INTO migration (name, applied_us) VALUES (?, ?)", "ti",
                            migration->name, wp_clock_utc());
    if (!status)
        status = wp_sql_script(sql, "COMMIT");
    return status;
}

static bool known(const char *name)
{
    for (size_t i = 0; i < db_migration_count; i++)
        if (strcmp(db_migration_files[i].name, name) == 0)
            return true;
    return false;
}

/* A migration this program does not have was made by a newer one, whose tables it would misread. */
static enum wp_status refuse_newer(struct wp_sql *sql, struct wp_error *error)
{
    struct wp_rows rows;
    (void)wp_sql_query(sql, &rows, "SELECT name FROM migration ORDER BY name", "");
    enum wp_status newer = WP_OK;
    while (!newer && wp_rows_next(&rows)) {
        const char *name = wp_rows_text(&rows, 0);
        if (name && !known(name))
            newer = wp_fail(error, WP_INVALID,
                            "the database was made by a newer version (it holds \"%s\")", name);
    }
    enum wp_status status = wp_rows_end(&rows);
    return newer ? newer : status;
}

static enum wp_status fail_named(struct wp_sql *sql, enum wp_status status, const char *name,
                                 struct wp_error *error)
{
    (void)wp_fail(error, status, "migration %s: %s", name, wp_sql_message(sql));
    (void)wp_sql_script(sql, "ROLLBACK");
    return status;
}

enum wp_status db_migrate(struct wp_sql *sql, struct wp_error *error)
{
    enum wp_status status =
        wp_sql_script(sql, "CREATE TABLE IF NOT EXISTS migration "
                           "(name TEXT NOT NULL PRIMARY KEY, applied_us INTEGER NOT NULL) STRICT");
    if (status)
        return fail_named(sql, status, "table", error);
    status = refuse_newer(sql, error);
    for (size_t i = 0; i < db_migration_count && !status; i++) {
        int64_t there;
        const struct wp_embedded *migration = &db_migration_files[i];
        status =
            wp_sql_int(sql, &there, "SELECT 1 FROM migration WHERE name = ?", "t", migration->name);
        if (status != WP_NOT_FOUND)
            continue;
        status = apply(sql, migration);
        if (status)
            return fail_named(sql, status, migration->name, error);
        wp_log(WP_LOG_INFO, "db", "applied migration %s", migration->name);
    }
    return status;
}
