/* A person's name leaves the archive. Their spectra may stay, as nobody's in particular. */
#include <stdlib.h>
#include <string.h>

#include "archive/removal.h"
#include "base/sql_words.h"

#define NAMELESS "Name removed"

/* One statement with the person as its only value. */
static enum wp_status each_step(struct wp_txn *txn, int64_t person, const char *const steps[],
                                size_t count)
{
    enum wp_status status = WP_OK;
    for (size_t i = 0; !status && i < count; i++)
        status = wp_sql_run(txn->sql, steps[i], "i", person);
    return status;
}

/* Measurements that have, or once had, this person. */
#define THEIRS                                                                                     \
    "(SELECT s.measurement_id FROM stamp_person p JOIN stamp s ON s.id = p.stamp_id WHERE "        \
    "p.person_id = ?1)"

static enum wp_status empty_texts(struct wp_txn *txn, int64_t person)
{
    static const char *const steps[] = {
        "UPDATE measurement SET title = '' WHERE id IN " THEIRS,
        "UPDATE capture SET path = '' WHERE sha256 IN (SELECT r.sha256 FROM rendition r WHERE "
        "r.measurement_id IN " THEIRS ")",
        "UPDATE stamp SET reason = '' WHERE author = 1 AND measurement_id IN " THEIRS,
    };
    return each_step(txn, person, steps, sizeof steps / sizeof steps[0]);
}

/* The measurements that they have now, a page at a time: each new stamp takes one off the list. */
static enum wp_status next_owned(struct wp_txn *txn, int64_t person, int64_t *measurement)
{
    return wp_sql_int(txn->sql, measurement,
                      "SELECT measurement_id FROM owned WHERE person_id = ? LIMIT 1", "i", person);
}

static enum wp_status stamp_without(struct wp_txn *txn, int64_t person, int64_t measurement)
{
    struct wp_stamp stamp;
    size_t left = 0;
    enum wp_status status = wp_stamp_read(txn->sql, measurement, &stamp);
    if (status)
        return status;
    for (size_t i = 0; i < stamp.person_count; i++)
        if (stamp.persons[i] != person)
            stamp.persons[left++] = stamp.persons[i];
    stamp.person_count = left;
    if (!left)
        wp_text_copy(stamp.guest, sizeof stamp.guest, NAMELESS);
    wp_text_copy(stamp.rule, sizeof stamp.rule, "erased");
    wp_text_copy(stamp.reason, sizeof stamp.reason, "A name was removed.");
    stamp.author = WP_ACTOR_SYSTEM;
    stamp.author_id = 0;
    return wp_stamp_add(txn, &stamp);
}

/* What elsewhere holds one of the words. Letters outside ASCII are compared as they are. */
static enum wp_status empty_mentions(struct wp_txn *txn, const char *word)
{
    static const char *const steps[] = {
        "UPDATE capture SET path = '' WHERE " WP_SQL_HOLDS("lower(path)", "lower(?1)"),
        "UPDATE agent_event SET text = '' WHERE " WP_SQL_HOLDS("lower(text)", "lower(?1)"),
        "UPDATE stamp SET reason = '' WHERE " WP_SQL_HOLDS("lower(reason)", "lower(?1)"),
        "UPDATE stamp SET sample = '' WHERE " WP_SQL_HOLDS("lower(sample)", "lower(?1)"),
        "UPDATE stamp SET guest = 'Name removed' WHERE " WP_SQL_HOLDS("lower(guest)", "lower(?1)"),
        "UPDATE measurement SET title = '' WHERE " WP_SQL_HOLDS("lower(title)", "lower(?1)"),
        "UPDATE object SET error_text = '' WHERE " WP_SQL_HOLDS("lower(error_text)", "lower(?1)"),
        "UPDATE notice SET text = '' WHERE " WP_SQL_HOLDS("lower(text)", "lower(?1)"),
    };
    enum wp_status status = WP_OK;
    for (size_t i = 0; !status && i < sizeof steps / sizeof steps[0]; i++)
        status = wp_sql_run(txn->sql, steps[i], "t", word);
    return status;
}

enum wp_status wp_archive_forget(struct wp_txn *txn, int64_t person, const char *const words[],
                                 size_t count)
{
    static const char *const links[] = {
        "DELETE FROM stamp_person WHERE person_id = ?",
        "DELETE FROM removed_person WHERE person_id = ?",
        "UPDATE measurement SET suggestion = '[]' WHERE " WP_SQL_HOLDS("suggestion",
                                                                       "CAST(?1 AS TEXT)"),
    };
    int64_t measurement = 0;
    enum wp_status status = empty_texts(txn, person);
    while (!status && !(status = next_owned(txn, person, &measurement)))
        status = stamp_without(txn, person, measurement);
    if (status == WP_NOT_FOUND)
        status = each_step(txn, person, links, sizeof links / sizeof links[0]);
    for (size_t i = 0; !status && i < count; i++)
        status = empty_mentions(txn, words[i]);
    return status;
}
