#include "people/access.h"

#include <stdio.h>
#include <string.h>

#include "base/clock.h"
#include "base/secret.h"

#define STAFF                                                                                      \
    (WP_ROLE_DEMONSTRATOR | WP_ROLE_INSTRUCTOR | WP_ROLE_MARKER | WP_ROLE_TECHNICIAN |             \
     WP_ROLE_ADMINISTRATOR | WP_ROLE_COMMAND)
/* Roles that hold everywhere, not in one section. */
#define SITE_WIDE (WP_ROLE_TECHNICIAN | WP_ROLE_ADMINISTRATOR | WP_ROLE_COMMAND)

/* How long after a section's last meeting a demonstrator or marker still counts as one is set by
 * section.ended_us: an ended section gives its staff nothing but the instructor's role. */
static enum wp_status person_roles(struct wp_sql *sql, int64_t person, unsigned *roles)
{
    struct wp_rows rows;
    enum wp_status status =
        wp_sql_query(sql, &rows,
                     "SELECT roles FROM person WHERE id = ?1 AND erased_us IS NULL "
                     "UNION ALL SELECT CASE WHEN s.ended_us IS NULL THEN t.roles "
                     "ELSE t.roles & 4 END FROM section_staff t JOIN section s "
                     "ON s.id = t.section_id WHERE t.person_id = ?1 "
                     "UNION ALL SELECT 1 FROM enrolled WHERE person_id = ?1",
                     "i", person);
    if (status)
        return status;
    while (wp_rows_next(&rows))
        *roles |= (unsigned)wp_rows_int(&rows, 0);
    return wp_rows_end(&rows);
}

static enum wp_status resolve_session(struct wp_sql *sql, int64_t now, const char *token,
                                      struct wp_who *who)
{
    unsigned char hash[WP_HASH_SIZE];
    wp_token_hash(token, hash);
    int64_t person = 0;
    enum wp_status status = wp_sql_int(
        sql, &person,
        "SELECT person_id FROM session WHERE token_hash = ? AND expires_us > ? AND used_us > ?",
        "bii", hash, sizeof hash, now, now - WP_SESSION_IDLE);
    if (status)
        return status;
    who->actor = WP_ACTOR_PERSON;
    who->id = person;
    memcpy(who->session, hash, sizeof hash);
    return person_roles(sql, person, &who->roles);
}

static enum wp_status resolve_device(struct wp_sql *sql, const char *token, bool agent,
                                     struct wp_who *who)
{
    unsigned char hash[WP_HASH_SIZE];
    wp_token_hash(token, hash);
    struct wp_rows rows;
    enum wp_status status = wp_sql_query(
        sql, &rows,
        agent ? "SELECT id, instrument_id FROM agent WHERE token_hash = ? AND revoked_us IS NULL"
              : "SELECT id, instrument_id FROM bench WHERE token_hash = ? AND revoked_us IS NULL",
        "b", hash, sizeof hash);
    if (status)
        return status;
    bool found = wp_rows_next(&rows);
    if (found) {
        who->actor = agent ? WP_ACTOR_AGENT : WP_ACTOR_BENCH;
        who->roles = agent ? WP_ROLE_AGENT : WP_ROLE_BENCH;
        who->id = wp_rows_int(&rows, 0);
        who->instrument = wp_rows_int(&rows, 1);
        memcpy(who->session, hash, sizeof hash);
    }
    status = wp_rows_end(&rows);
    return status ? status : found ? WP_OK : WP_NOT_FOUND;
}

enum wp_status wp_who_resolve(struct wp_sql *sql, int64_t now, const struct wp_proof *proof,
                              struct wp_who *who)
{
    memset(who, 0, sizeof *who);
    enum wp_status status = WP_NOT_FOUND;
    if (proof->bearer)
        status = resolve_device(sql, proof->bearer, true, who);
    if (status == WP_NOT_FOUND && proof->session)
        status = resolve_session(sql, now, proof->session, who);
    if (status == WP_NOT_FOUND && proof->bench)
        status = resolve_device(sql, proof->bench, false, who);
    return status == WP_NOT_FOUND ? WP_OK : status;
}

enum wp_status wp_command_named(struct wp_sql *sql, const char *named, struct wp_who *who)
{
    who->id = 0;
    enum wp_status status = wp_sql_int(
        sql, &who->id, "SELECT id FROM person WHERE lower(login) = lower(?) AND erased_us IS NULL",
        "t", *named ? named : who->command_name);
    return status == WP_NOT_FOUND && !*named ? WP_OK : status;
}

enum wp_status wp_section_roles(struct wp_sql *sql, const struct wp_who *who, int64_t section,
                                unsigned *roles)
{
    *roles = who->roles & SITE_WIDE;
    if (who->actor != WP_ACTOR_PERSON)
        return WP_OK;
    int64_t held = 0;
    enum wp_status status =
        wp_sql_int(sql, &held,
                   "SELECT CASE WHEN s.ended_us IS NULL THEN t.roles ELSE t.roles & 4 END "
                   "FROM section_staff t JOIN section s ON s.id = t.section_id "
                   "WHERE t.section_id = ? AND t.person_id = ?",
                   "ii", section, who->id);
    *roles |= (unsigned)held;
    return status == WP_NOT_FOUND ? WP_OK : status;
}

enum wp_status wp_names_seen(struct wp_sql *sql, const struct wp_who *who, int64_t section,
                             bool own, enum wp_names *names)
{
    unsigned held = 0;
    *names = WP_NAMES_HIDDEN;
    if (who->roles == WP_ROLE_BENCH)
        *names = WP_NAMES_SHORT;
    if (who->actor != WP_ACTOR_PERSON && !(who->roles & SITE_WIDE))
        return WP_OK;
    enum wp_status status = wp_section_roles(sql, who, section, &held);
    /* What no section has is for those who assign it. */
    if (!section)
        held |= who->roles & (WP_ROLE_DEMONSTRATOR | WP_ROLE_INSTRUCTOR);
    if (own || (held & ~(unsigned)WP_ROLE_MARKER))
        *names = own && !(held & STAFF & ~(unsigned)WP_ROLE_MARKER) ? WP_NAMES_OWN : WP_NAMES_ALL;
    return status;
}

static enum wp_status exists(struct wp_sql *sql, const char *text, int64_t a, int64_t b)
{
    int64_t one = 0;
    return wp_sql_int(sql, &one, text, "ii", a, b);
}

/* A section's staff are at home at the instruments where it meets. */
static enum wp_status section_instrument(struct wp_sql *sql, const struct wp_who *who,
                                         unsigned roles, int64_t instrument)
{
    int64_t one = 0;
    enum wp_status status = wp_sql_int(
        sql, &one,
        "SELECT 1 FROM section_staff t JOIN section s ON s.id = t.section_id JOIN instrument i "
        "ON i.id = ?1 WHERE t.person_id = ?2 AND t.roles & ?3 <> 0 AND (s.ended_us IS NULL OR "
        "t.roles & ?3 & 4 <> 0) AND " WP_SECTION_AT_INSTRUMENT("s") " LIMIT 1",
        "iii", instrument, who->id, (int64_t)roles);
    return status == WP_NOT_FOUND ? WP_DENIED : status;
}

/* What no section has yet is for those who are at home at its instrument, to assign it: for a
 * demonstrator only what is a day old at most. */
static enum wp_status unsectioned(struct wp_sql *sql, int64_t now, const struct wp_who *who,
                                  unsigned roles, int64_t measurement)
{
    int64_t instrument = 0, fresh = 0;
    enum wp_status status = wp_sql_int(
        sql, &instrument, "SELECT instrument_id FROM measurement WHERE id = ?", "i", measurement);
    if (!status)
        status = wp_sql_int(sql, &fresh, "SELECT measured_us > ? FROM measurement WHERE id = ?",
                            "ii", now - WP_DAY, measurement);
    if (status)
        return status;
    roles &= WP_ROLE_INSTRUCTOR | (fresh ? WP_ROLE_DEMONSTRATOR : 0U);
    return section_instrument(sql, who, roles, instrument);
}

static enum wp_status staff_measurement(struct wp_sql *sql, int64_t now, const struct wp_who *who,
                                        unsigned roles, int64_t measurement)
{
    if (who->roles & roles & SITE_WIDE)
        return exists(sql, "SELECT 1 FROM measurement WHERE id = ? AND ? >= 0", measurement, 0);
    int64_t section = 0;
    enum wp_status status =
        wp_sql_int(sql, &section, "SELECT coalesce(section_id, 0) FROM measurement WHERE id = ?",
                   "i", measurement);
    if (status)
        return status;
    if (!section)
        return unsectioned(sql, now, who, roles, measurement);
    unsigned held = 0;
    status = wp_section_roles(sql, who, section, &held);
    return status ? status : (held & roles) ? WP_OK : WP_DENIED;
}

/* A bench shows what is being done there: the open turn's, and for a while what nobody has. It is
 * nobody's archive. */
static enum wp_status bench_measurement(struct wp_sql *sql, int64_t now, int64_t instrument,
                                        int64_t measurement)
{
    int64_t one = 0;
    return wp_sql_int(sql, &one,
                      "SELECT 1 FROM measurement m JOIN capture c ON c.id = m.capture_id WHERE "
                      "m.id = ? AND m.instrument_id = ? AND ((m.unclaimed = 1 AND "
                      "c.received_us > ?) OR EXISTS (SELECT 1 FROM turn t WHERE t.id = m.turn_id "
                      "AND t.closed_us IS NULL))",
                      "iii", measurement, instrument, now - WP_BENCH_SHOWS);
}

static enum wp_status check_measurement(struct wp_sql *sql, int64_t now, const struct wp_who *who,
                                        unsigned roles, int64_t measurement)
{
    enum wp_status status = WP_DENIED;
    if (who->roles & roles & WP_ROLE_STUDENT)
        status = exists(sql, "SELECT 1 FROM owned WHERE person_id = ? AND measurement_id = ?",
                        who->id, measurement);
    if (status && (who->roles & roles & WP_ROLE_BENCH))
        status = bench_measurement(sql, now, who->instrument, measurement);
    if (status && (who->roles & roles & STAFF))
        return staff_measurement(sql, now, who, roles, measurement);
    return status == WP_NOT_FOUND ? WP_DENIED : status;
}

static enum wp_status check_section(struct wp_sql *sql, const struct wp_who *who, unsigned roles,
                                    int64_t section)
{
    unsigned held = 0;
    enum wp_status status = wp_section_roles(sql, who, section, &held);
    if (status)
        return status;
    if (held & roles)
        return exists(sql, "SELECT 1 FROM section WHERE id = ? AND ? >= 0", section, 0);
    if (who->roles & roles & WP_ROLE_STUDENT)
        status = exists(sql,
                        "SELECT 1 FROM enrolled WHERE person_id = ? AND section_id = ? "
                        "AND to_us IS NULL",
                        who->id, section);
    else
        status = WP_DENIED;
    return status == WP_NOT_FOUND ? WP_DENIED : status;
}

static enum wp_status check_instrument(struct wp_sql *sql, const struct wp_who *who, unsigned roles,
                                       int64_t instrument)
{
    if (who->actor == WP_ACTOR_PERSON && !(who->roles & roles & SITE_WIDE))
        return section_instrument(sql, who, roles, instrument);
    if (who->roles & roles & STAFF)
        return exists(sql, "SELECT 1 FROM instrument WHERE id = ? AND ? >= 0", instrument, 0);
    return who->instrument == instrument ? WP_OK : WP_DENIED;
}

static enum wp_status check_person(struct wp_sql *sql, const struct wp_who *who, unsigned roles,
                                   int64_t person)
{
    if (who->actor == WP_ACTOR_PERSON && who->id == person)
        return WP_OK;
    if (who->roles & roles & SITE_WIDE)
        return exists(sql, "SELECT 1 FROM person WHERE id = ? AND ? >= 0", person, 0);
    if (!(who->roles & roles & WP_ROLE_INSTRUCTOR))
        return WP_DENIED;
    enum wp_status status =
        exists(sql,
               "SELECT 1 FROM enrolled e JOIN section_staff t ON t.section_id = e.section_id "
               "WHERE e.person_id = ? AND t.person_id = ? AND t.roles & 4 <> 0",
               person, who->id);
    return status == WP_NOT_FOUND ? WP_DENIED : status;
}

enum wp_status wp_access_check(struct wp_sql *sql, int64_t now, const struct wp_who *who,
                               unsigned roles, enum wp_scope scope, const struct wp_ask *ask)
{
    if (scope == WP_SCOPE_PUBLIC)
        return WP_OK;
    if (!(who->roles & roles))
        return WP_DENIED;
    if (scope == WP_SCOPE_ANY)
        return WP_OK;
    int64_t id = 0;
    if (!wp_ask_param_int(ask, 0, &id))
        return WP_NOT_FOUND;
    switch (scope) {
    case WP_SCOPE_MEASUREMENT:
        return check_measurement(sql, now, who, roles, id);
    case WP_SCOPE_SECTION:
        return check_section(sql, who, roles, id);
    case WP_SCOPE_INSTRUMENT:
        return check_instrument(sql, who, roles, id);
    case WP_SCOPE_PERSON:
        return check_person(sql, who, roles, id);
    case WP_SCOPE_UNSET:
    case WP_SCOPE_PUBLIC:
    case WP_SCOPE_ANY:
        break;
    }
    return WP_DENIED;
}

void wp_roles_text(unsigned roles, char *text, size_t room)
{
    static const char *const names[] = {"student", "demonstrator", "instructor",
                                        "marker",  "technician",   "administrator",
                                        "agent",   "bench device", "command line"};
    size_t used = 0;
    text[0] = '\0';
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        if (!(roles & (1U << i)) || used >= room)
            continue;
        int wrote = snprintf(text + used, room - used, "%s%s", used ? ", " : "", names[i]);
        used += wrote > 0 ? (size_t)wrote : 0;
    }
}

const char *wp_scope_text(enum wp_scope scope)
{
    static const char *const names[] = {"unset",   "everybody",  "any",   "measurement",
                                        "section", "instrument", "person"};
    return names[scope];
}
