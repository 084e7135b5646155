/* base/sql_words.h - what database engines write differently, in one place. All other SQL of
 * Wavepost is the same for all: no rowid, no INSERT OR, no date functions.
 *
 * Pieces of statements, put between string literals; arguments are literals too. Beside each: how
 * PostgreSQL writes it.
 */
#ifndef BASE_SQL_WORDS_H
#define BASE_SQL_WORDS_H

/* Bytes as lower-case hexadecimal text. encode(bytes, 'hex') */
#define WP_SQL_HEX(bytes) "lower(hex(" bytes "))"

/* True if `text` holds `part`. strpos(text, part) > 0 */
#define WP_SQL_HOLDS(text, part) "instr(" text ", " part ") > 0"

/* Texts of many rows as one, with `between` between them. string_agg(text, between) */
#define WP_SQL_JOINED(text, between) "group_concat(" text ", " between ")"

/* Values of many rows as a JSON array; a JSON object of "'name', value, ..."; the items of a JSON
 * array as rows, each in column `value`. json_agg, json_build_object, jsonb_array_elements */
#define WP_SQL_JSON_LIST(value) "json_group_array(" value ")"
#define WP_SQL_JSON_OBJECT(members) "json_object(" members ")"
#define WP_SQL_JSON_ITEMS(list) "json_each(" list ")"

#endif
