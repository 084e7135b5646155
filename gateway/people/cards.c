#include "people/cards.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/bytes.h"

#define SEED_SIZE 16
#define SECRET_DIGITS (WP_CARD_DIGITS - 2)

/* ---- cards as text ---- */

/* Remainder by 97 of a decimal number (ISO/IEC 7064). */
static unsigned remainder_97(const char *digits)
{
    unsigned rest = 0;
    for (; *digits; digits++)
        rest = (rest * 10 + (unsigned)(*digits - '0')) % 97;
    return rest;
}

/* Divides a big-endian number of `size` bytes by ten; returns the remainder. */
static unsigned divide_by_ten(unsigned char *number, size_t size)
{
    unsigned rest = 0;
    for (size_t i = 0; i < size; i++) {
        unsigned value = rest * 256 + number[i];
        number[i] = (unsigned char)(value / 10);
        rest = value % 10;
    }
    return rest;
}

void wp_card_digits(const unsigned char key[WP_KEY_SIZE], const unsigned char seed[SEED_SIZE],
                    char card[WP_CARD_ROOM])
{
    char text[5 + 2 * SEED_SIZE + 1] = "card:";
    unsigned char hash[WP_HASH_SIZE];
    wp_hex_encode(seed, SEED_SIZE, text + 5);
    wp_keyed_hash(key, text, strlen(text), hash);
    for (size_t i = 0; i < SECRET_DIGITS; i++)
        card[i] = (char)('0' + divide_by_ten(hash, sizeof hash));
    memcpy(card + SECRET_DIGITS, "00", 3);
    unsigned check = 98 - remainder_97(card);
    card[SECRET_DIGITS] = (char)('0' + check / 10);
    card[SECRET_DIGITS + 1] = (char)('0' + check % 10);
}

bool wp_card_clean(const char *typed, char card[WP_CARD_ROOM])
{
    size_t used = 0;
    for (; typed && *typed; typed++) {
        if (strchr(" -\t\r\n", *typed))
            continue;
        if (used == WP_CARD_DIGITS || *typed < '0' || *typed > '9')
            return false;
        card[used++] = *typed;
    }
    card[used] = '\0';
    return used == WP_CARD_DIGITS && remainder_97(card) == 1;
}

bool wp_pin_ok(const char *pin)
{
    size_t size = pin ? strlen(pin) : 0;
    return size >= 4 && size <= 6 && strspn(pin, "0123456789") == size;
}

bool wp_pin_simple(const char *pin)
{
    int step = pin[1] - pin[0];
    if (step < -1 || step > 1)
        return false;
    for (const char *c = pin; c[1]; c++)
        if (c[1] - c[0] != step)
            return false;
    return true;
}

/* ---- passes ---- */

static const char *const ways[] = {"card", "pin", "number"};

static void pass_proof(const unsigned char key[WP_KEY_SIZE], int64_t instrument, int64_t person,
                       const char *by, int64_t until, char proof[33])
{
    char text[160];
    unsigned char hash[WP_HASH_SIZE];
    (void)snprintf(text, sizeof text, "pass:%" PRId64 ":%" PRId64 ":%s:%" PRId64, instrument,
                   person, by, until);
    wp_keyed_hash(key, text, strlen(text), hash);
    wp_hex_encode(hash, 16, proof);
}

void wp_pass_make(const unsigned char key[WP_KEY_SIZE], int64_t instrument, int64_t person,
                  const char *by, int64_t now, char pass[WP_PASS_ROOM])
{
    char proof[33];
    int64_t until = now + WP_PASS_LIFE;
    pass_proof(key, instrument, person, by, until, proof);
    (void)snprintf(pass, WP_PASS_ROOM, "%" PRId64 ".%s.%" PRId64 ".%s", person, by, until, proof);
}

bool wp_pass_read(const unsigned char key[WP_KEY_SIZE], int64_t instrument, int64_t now,
                  const char *pass, int64_t *person, const char **by)
{
    char expected[33];
    char *at = NULL;
    *person = strtoll(pass, &at, 10);
    const char *word = at && *at == '.' ? at + 1 : "";
    *by = NULL;
    for (size_t i = 0; i < sizeof ways / sizeof ways[0]; i++) {
        size_t length = strlen(ways[i]);
        if (!strncmp(word, ways[i], length) && word[length] == '.')
            *by = ways[i];
    }
    if (!*by)
        return false;
    int64_t until = strtoll(word + strlen(*by) + 1, &at, 10);
    if (*at != '.' || strlen(at + 1) != 32 || until <= now || until > now + WP_PASS_LIFE)
        return false;
    pass_proof(key, instrument, *person, *by, until, expected);
    return wp_equal(expected, at + 1, 32);
}

/* ---- what is stored ---- */

static enum wp_status row_for(struct wp_txn *txn, int64_t person)
{
    return wp_sql_run(txn->sql,
                      "INSERT INTO bench_card (person_id) VALUES (?) "
                      "ON CONFLICT (person_id) DO NOTHING",
                      "i", person);
}

enum wp_status wp_card_make(struct wp_txn *txn, const unsigned char key[WP_KEY_SIZE],
                            int64_t person, bool anew)
{
    char card[WP_CARD_ROOM];
    unsigned char seed[SEED_SIZE], hash[WP_HASH_SIZE];
    enum wp_status status = anew ? WP_NOT_FOUND : wp_card_read(txn->sql, key, person, card);
    if (status != WP_NOT_FOUND)
        return status;
    status = row_for(txn, person);
    wp_random(seed, sizeof seed);
    wp_card_digits(key, seed, card);
    wp_token_hash(card, hash);
    return status ? status
                  : wp_sql_run(txn->sql,
                               "UPDATE bench_card SET seed = ?, card_hash = ?, card_us = ? "
                               "WHERE person_id = ?",
                               "bbii", seed, sizeof seed, hash, sizeof hash, txn->now, person);
}

enum wp_status wp_card_read(struct wp_sql *sql, const unsigned char key[WP_KEY_SIZE],
                            int64_t person, char card[WP_CARD_ROOM])
{
    struct wp_rows rows;
    unsigned char hash[WP_HASH_SIZE];
    size_t seed_size = 0, hash_size = 0;
    bool found = false;
    enum wp_status status = wp_sql_query(
        sql, &rows, "SELECT seed, card_hash FROM bench_card WHERE person_id = ?", "i", person);
    if (status)
        return status;
    if (wp_rows_next(&rows)) {
        const void *seed = wp_rows_blob(&rows, 0, &seed_size);
        const void *kept = wp_rows_blob(&rows, 1, &hash_size);
        if (seed_size == SEED_SIZE && hash_size == sizeof hash) {
            wp_card_digits(key, seed, card);
            wp_token_hash(card, hash);
            found = wp_equal(hash, kept, sizeof hash);
        }
    }
    status = wp_rows_end(&rows);
    return status || found ? status : WP_NOT_FOUND;
}

static void pin_hash(const unsigned char key[WP_KEY_SIZE], const char *pin,
                     unsigned char hash[WP_HASH_SIZE])
{
    char text[16];
    (void)snprintf(text, sizeof text, "pin:%.6s", pin);
    wp_keyed_hash(key, text, strlen(text), hash);
}

static enum wp_status pin_taken(struct wp_txn *txn, const unsigned char hash[WP_HASH_SIZE],
                                int64_t person, const char *pin)
{
    int64_t one = 0;
    return wp_sql_int(txn->sql, &one,
                      "SELECT 1 FROM enrolled mine JOIN enrolled e ON e.section_id = "
                      "mine.section_id LEFT JOIN bench_card b ON b.person_id = e.person_id "
                      "WHERE mine.person_id = ?1 AND mine.to_us IS NULL AND e.to_us IS NULL AND "
                      "e.person_id <> ?1 AND (b.pin_hash = ?2 OR e.number = ?3) LIMIT 1",
                      "ibt", person, hash, (size_t)WP_HASH_SIZE, pin);
}

enum wp_status wp_pin_set(struct wp_txn *txn, const unsigned char key[WP_KEY_SIZE], int64_t person,
                          const char *pin, struct wp_error *error)
{
    unsigned char hash[WP_HASH_SIZE];
    if (!pin || !*pin)
        return wp_sql_run(txn->sql,
                          "UPDATE bench_card SET pin_hash = NULL, pin_us = NULL "
                          "WHERE person_id = ?",
                          "i", person);
    if (!wp_pin_ok(pin))
        return wp_fail(error, WP_INVALID, "A PIN has 4 to 6 digits.");
    if (wp_pin_simple(pin))
        return wp_fail(error, WP_INVALID, "This PIN is too easy to guess: take another one.");
    pin_hash(key, pin, hash);
    enum wp_status status = pin_taken(txn, hash, person, pin);
    if (status == WP_OK)
        return wp_fail(error, WP_CONFLICT, "This PIN cannot be yours: take another one.");
    status = status == WP_NOT_FOUND ? row_for(txn, person) : status;
    return status ? status
                  : wp_sql_run(txn->sql,
                               "UPDATE bench_card SET pin_hash = ?, pin_us = ? WHERE person_id = ?",
                               "bii", hash, sizeof hash, txn->now, person);
}

enum wp_status wp_card_person(struct wp_sql *sql, const char card[WP_CARD_ROOM], int64_t *person)
{
    unsigned char hash[WP_HASH_SIZE];
    wp_token_hash(card, hash);
    return wp_sql_int(sql, person,
                      "SELECT p.id FROM bench_card b JOIN person p ON p.id = b.person_id "
                      "WHERE b.card_hash = ? AND p.erased_us IS NULL",
                      "b", hash, sizeof hash);
}

/* The only one of a list of persons. */
static enum wp_status only_one(struct wp_rows *rows, int64_t *person)
{
    bool found = wp_rows_next(rows);
    if (found)
        *person = wp_rows_int(rows, 0);
    bool more = found && wp_rows_next(rows);
    enum wp_status status = wp_rows_end(rows);
    return status ? status : found && !more ? WP_OK : WP_NOT_FOUND;
}

/* SQL: the sections that meet at the instrument ?1 at the instant ?2. */
#define AT_WORK                                                                                    \
    "(SELECT s.id FROM section s JOIN meeting m ON m.section_id = s.id JOIN instrument i "         \
    "ON i.id = ?1 WHERE m.starts_us <= ?2 AND m.ends_us > ?2 AND (s.place = '' OR "                \
    "i.place = s.place OR substr(i.place, 1, length(s.place) + 1) = s.place || '/'))"

enum wp_status wp_pin_person(struct wp_sql *sql, const unsigned char key[WP_KEY_SIZE],
                             int64_t instrument, const char *pin, int64_t now, int64_t *person)
{
    unsigned char hash[WP_HASH_SIZE];
    struct wp_rows rows;
    pin_hash(key, pin, hash);
    enum wp_status status =
        wp_sql_query(sql, &rows,
                     "SELECT DISTINCT b.person_id FROM bench_card b JOIN enrolled e "
                     "ON e.person_id = b.person_id AND e.to_us IS NULL JOIN section n "
                     "ON n.id = e.section_id AND n.ended_us IS NULL WHERE b.pin_hash = ?3 AND "
                     "(n.id IN " AT_WORK " OR NOT EXISTS " AT_WORK ") LIMIT 2",
                     "iib", instrument, now, hash, sizeof hash);
    return status ? status : only_one(&rows, person);
}

enum wp_status wp_number_person(struct wp_sql *sql, const char *number, int64_t *person)
{
    struct wp_rows rows;
    enum wp_status status =
        wp_sql_query(sql, &rows,
                     "SELECT DISTINCT e.person_id FROM enrolled e JOIN section s "
                     "ON s.id = e.section_id AND s.ended_us IS NULL WHERE e.number = ? AND "
                     "e.number <> '' AND e.to_us IS NULL LIMIT 2",
                     "t", number);
    return status ? status : only_one(&rows, person);
}

enum wp_status wp_person_section(struct wp_sql *sql, int64_t instrument, int64_t person,
                                 int64_t now, int64_t *section)
{
    return wp_sql_int(
        sql, section,
        "SELECT n.id FROM enrolled e JOIN section n ON n.id = e.section_id WHERE e.person_id = ?3 "
        "AND e.to_us IS NULL AND n.ended_us IS NULL ORDER BY n.id IN " AT_WORK " DESC, "
        "EXISTS (SELECT 1 FROM meeting w WHERE w.section_id = n.id AND w.starts_us <= ?2 AND "
        "w.ends_us > ?2) DESC, e.from_us DESC, n.id LIMIT 1",
        "iii", instrument, now, person);
}
