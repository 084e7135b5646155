#include "views/figures.h"

#include <inttypes.h>

#include "base/clock.h"
#include "base/id.h"
#include "rows.h"

static enum wp_status add_head(struct wp_bytes *text, const char *name, const char *kind,
                               const char *help)
{
    return wp_bytes_addf(text, "# HELP %s %s\n# TYPE %s %s\n", name, help, name, kind);
}

enum wp_status wp_figure_add(struct wp_bytes *text, const char *name, const char *kind,
                             const char *help, uint64_t value)
{
    enum wp_status status = add_head(text, name, kind, help);
    return status ? status : wp_bytes_addf(text, "%s %" PRIu64 "\n", name, value);
}

/* A label's value: backslash, quote and line feed are escaped. */
static enum wp_status add_value(struct wp_bytes *text, const char *value)
{
    enum wp_status status = WP_OK;
    for (; *value && !status; value++) {
        if (*value == '\n')
            status = wp_bytes_add_text(text, "\\n");
        else if (*value == '\\' || *value == '"')
            status = wp_bytes_addf(text, "\\%c", *value);
        else
            status = wp_bytes_add_byte(text, *value);
    }
    return status;
}

/* Each column but the last is a label under its own name; the last is the figure. */
static enum wp_status add_row(struct wp_bytes *text, const char *name, struct wp_rows *rows)
{
    int last = wp_rows_columns(rows) - 1;
    enum wp_status status = wp_bytes_add_text(text, name);
    for (int i = 0; i < last && !status; i++) {
        const char *value = wp_rows_text(rows, i);
        status = wp_bytes_addf(text, "%s%s=\"", i ? "," : "{", wp_rows_name(rows, i));
        if (!status)
            status = add_value(text, value ? value : "");
        if (!status)
            status = wp_bytes_add_byte(text, '"');
    }
    return status ? status : wp_bytes_addf(text, "} %" PRId64 "\n", wp_rows_int(rows, last));
}

struct figure {
    const char *name;
    const char *help;
    const char *sql; /* ?1: an instant, as `since` says */
};

#define OF_AGENT(figure)                                                                           \
    "SELECT i.name AS instrument, CAST(a.id AS TEXT) AS agent, " figure                            \
    " FROM agent a JOIN instrument i ON i.id = a.instrument_id "                                   \
    "WHERE a.revoked_us IS NULL AND i.retired_us IS NULL AND ?1 > 0 ORDER BY i.name, a.id "        \
    "LIMIT 1000"

/* ?1: now */
static const struct figure agents[] = {
    {"wavepost_agent_up", "1: heard within the last 90 seconds.",
     OF_AGENT("a.seen_us > ?1 - 90000000")},
    {"wavepost_agent_unheard_seconds", "Time since the agent was last heard.",
     OF_AGENT("(?1 - a.seen_us) / 1000000")},
    {"wavepost_agent_queue_files", "Files that wait on the instrument's PC.",
     OF_AGENT("a.queue_count")},
    {"wavepost_agent_queue_bytes", "Bytes that wait on the instrument's PC.",
     OF_AGENT("a.queue_bytes")},
    {"wavepost_agent_queue_oldest_seconds", "Age of the oldest file that waits there.",
     OF_AGENT("coalesce((?1 - a.queue_oldest_us) / 1000000, 0)")},
    {"wavepost_agent_disk_free_bytes", "Free space on the instrument's PC.",
     OF_AGENT("a.disk_free")},
    {"wavepost_agent_spool_stopped", "1: the agent takes nothing more, its spool is full.",
     OF_AGENT("a.spool_stopped")},
    {"wavepost_agent_ledger_ok", "0: the ledger's end is not the one the agent has seen.",
     OF_AGENT("a.ledger_ok")},
    {"wavepost_printers", "Printers by state.",
     "SELECT state, count(*) FROM printer WHERE retired_us IS NULL AND ?1 > 0 GROUP BY state"},
    {"wavepost_deliveries_open", "Deliveries that are not at an end, by kind and state.",
     "SELECT kind, state, count(*) FROM delivery WHERE state IN ('waiting', 'sending', 'printing', "
     "'asking', 'uncertain') AND ?1 > 0 GROUP BY kind, state"},
};

/* ?1: the smallest id of the last 24 hours */
static const struct figure recent[] = {
    {"wavepost_deliveries_day", "Deliveries of the last 24 hours, by kind and state.",
     "SELECT kind, state, count(*) FROM delivery WHERE id >= ?1 GROUP BY kind, state"},
    {"wavepost_spectra_day", "Spectra that came in the last 24 hours, by verdict.",
     "SELECT verdict, count(*) FROM measurement WHERE id >= ?1 GROUP BY verdict"},
};

static enum wp_status add_figure(struct wp_sql *sql, const struct figure *figure, int64_t instant,
                                 struct wp_bytes *text)
{
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(sql, &rows, figure->sql, "i", instant);
    if (status)
        return status;
    status = add_head(text, figure->name, "gauge", figure->help);
    while (!status && wp_rows_next(&rows))
        status = add_row(text, figure->name, &rows);
    enum wp_status end = wp_rows_end(&rows);
    return status ? status : end;
}

enum wp_status wp_view_figures(struct wp_sql *sql, int64_t now, struct wp_bytes *text)
{
    enum wp_status status = WP_OK;
    for (size_t i = 0; i < sizeof agents / sizeof *agents && !status; i++)
        status = add_figure(sql, &agents[i], now, text);
    for (size_t i = 0; i < sizeof recent / sizeof *recent && !status; i++)
        status = add_figure(sql, &recent[i], wp_id_at(now - 24 * WP_HOUR), text);
    return status;
}
