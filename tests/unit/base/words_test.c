/* Accession numbers, digests, times, ids and secrets. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include <cmocka.h>

#include "base/accession.h"
#include "base/bytes.h"
#include "base/clock.h"
#include "base/digest.h"
#include "base/id.h"
#include "base/secret.h"

/* GRid Standard 2.1 uses ISO/IEC 7064, MOD 37,36; its example is A1-2425G-ABC1234002-M. ISAN
 * (ISO 15706-2) does too; its example is 0000-0000-D07A-0090-Q-0000-0000-X (value from memory). */
static void check_characters_agree_with_published_examples(void **state)
{
    (void)state;
    assert_int_equal(wp_mod_37_36("A12425GABC1234002"), 'M');
    assert_int_equal(wp_mod_37_36("a12425gabc1234002"), 'M');
    assert_int_equal(wp_mod_37_36("00000000D07A0090"), 'Q');
    assert_int_equal(wp_mod_37_36("00000000D07A009000000000"), 'X');
    assert_int_equal(wp_mod_37_36("12*3"), '\0');
}

/* The defining property of the hybrid system (ISO/IEC 7064, clause 9): run over the whole string,
 * the check character included, the recursion ends at 1. */
static void every_accession_number_satisfies_the_standard(void **state)
{
    (void)state;
    static const char alphabet[] = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ";
    unsigned usable = 0;
    for (uint64_t number = 1; number < 5000; number++) {
        if (!wp_accession_usable(number))
            continue;
        usable++;
        char text[WP_ACCESSION_ROOM];
        wp_accession_format(number, text);
        unsigned product = 36;
        unsigned sum = 0;
        for (const char *c = text; *c; c++) {
            sum = (product + (unsigned)(strchr(alphabet, *c) - alphabet)) % 36;
            product = (sum ? sum : 36) * 2 % 37;
        }
        assert_int_equal(sum, 1);
        assert_null(strpbrk(text, "ILO"));
        uint64_t back = 0;
        assert_true(wp_accession_parse(text, &back));
        assert_int_equal(back, number);
    }
    assert_in_range(usable, 4300, 4800);
}

static void an_accession_number_may_be_typed_with_blanks_and_small_letters(void **state)
{
    (void)state;
    uint64_t number = 10042;
    while (!wp_accession_usable(number) || wp_accession_check(number) < 'A')
        number++;
    char text[WP_ACCESSION_ROOM];
    wp_accession_format(number, text);
    char typed[40] = " ";
    strcat(typed, text);
    size_t last = strlen(typed) - 1;
    char check = (char)(typed[last] - 'A' + 'a');
    typed[last] = '-';
    typed[last + 1] = check;
    typed[last + 2] = '\0';
    uint64_t back = 0;
    assert_true(wp_accession_parse(typed, &back));
    assert_int_equal(back, number);
}

static void a_mistyped_accession_number_is_refused(void **state)
{
    (void)state;
    char text[WP_ACCESSION_ROOM];
    uint64_t number = 20345;
    while (!wp_accession_usable(number))
        number++;
    wp_accession_format(number, text);
    uint64_t back = 77;
    for (size_t i = 0; text[i]; i++) {
        char wrong[WP_ACCESSION_ROOM];
        strcpy(wrong, text);
        for (char c = '0'; c <= '9'; c++) {
            wrong[i] = c;
            assert_int_equal(wp_accession_parse(wrong, &back), c == text[i]);
        }
    }
    back = 77;
    char swapped[WP_ACCESSION_ROOM];
    strcpy(swapped, text);
    swapped[1] = text[2];
    swapped[2] = text[1];
    assert_false(wp_accession_parse(swapped, &back));
    assert_false(wp_accession_parse("", &back));
    assert_false(wp_accession_parse("7", &back));
    assert_false(wp_accession_parse("99999999999999999999999999", &back));
    assert_false(wp_accession_parse("99999999999999999999A", &back));
    assert_int_equal(back, 77);
}

static void assert_digest(const void *data, size_t size, const char *hex)
{
    unsigned char digest[WP_SHA256_SIZE];
    char text[WP_SHA256_HEX];
    assert_int_equal(wp_sha256(data, size, digest), WP_OK);
    wp_hex_encode(digest, sizeof digest, text);
    assert_string_equal(text, hex);
}

/* FIPS 180-4 example messages (NIST, "SHA256" examples) and the digest of nothing. */
static void sha256_agrees_with_published_examples(void **state)
{
    (void)state;
    assert_digest("abc", 3, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    assert_digest("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq", 56,
                  "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
    assert_digest(NULL, 0, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
    struct wp_sha256 *running;
    unsigned char pieces[WP_SHA256_SIZE];
    unsigned char whole[WP_SHA256_SIZE];
    assert_int_equal(wp_sha256_begin(&running), WP_OK);
    assert_int_equal(wp_sha256_add(running, "a", 1), WP_OK);
    assert_int_equal(wp_sha256_add(running, NULL, 0), WP_OK);
    assert_int_equal(wp_sha256_add(running, "bc", 2), WP_OK);
    wp_sha256_end(running, pieces);
    assert_int_equal(wp_sha256("abc", 3, whole), WP_OK);
    assert_memory_equal(pieces, whole, sizeof whole);
    assert_int_equal(wp_sha256_begin(&running), WP_OK);
    wp_sha256_drop(running);
    wp_sha256_drop(NULL);
}

/* The digest of {"hello": "world"} and a line feed, RFC 9530, appendix B.1 and D.1. */
static void content_digest_agrees_with_rfc_9530(void **state)
{
    (void)state;
    unsigned char digest[WP_SHA256_SIZE];
    unsigned char parsed[WP_SHA256_SIZE];
    char text[WP_CONTENT_DIGEST_ROOM];
    assert_int_equal(wp_sha256("{\"hello\": \"world\"}\n", 19, digest), WP_OK);
    wp_content_digest_format(digest, text);
    assert_string_equal(text, "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:");
    assert_true(wp_content_digest_parse(text, parsed));
    assert_memory_equal(parsed, digest, sizeof digest);
    assert_true(wp_content_digest_parse(
        " sha-512=:YQ==:;a=1 ,\tsha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:", parsed));
    assert_memory_equal(parsed, digest, sizeof digest);
}

static void a_malformed_content_digest_is_refused(void **state)
{
    (void)state;
    unsigned char digest[WP_SHA256_SIZE];
    static const char *const bad[] = {
        "",
        "sha-256",
        "sha-256=",
        "sha-256=abc",
        "sha-256=:abc:",
        "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=",
        "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg:",
        "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:x",
        "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:,",
        "sha-512=:YQ==:",
    };
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        assert_false(wp_content_digest_parse(bad[i], digest));
}

/* RFC 3339, section 5.8: the examples that name one instant twice. */
static void instants_are_read_and_written(void **state)
{
    (void)state;
    char text[WP_ISO_ROOM];
    int64_t us = 0;
    int64_t same = 0;
    assert_true(wp_clock_parse("1985-04-12T23:20:50.52Z", &us));
    wp_clock_iso(us, text);
    assert_string_equal(text, "1985-04-12T23:20:50.520000Z");
    assert_true(wp_clock_parse("1996-12-19T16:39:57-08:00", &us));
    assert_true(wp_clock_parse("1996-12-20t00:39:57z", &same));
    assert_int_equal(us, same);
    assert_true(wp_clock_parse("1937-01-01T12:00:27.87+00:20", &us));
    wp_clock_iso(us, text);
    assert_string_equal(text, "1937-01-01T11:40:27.870000Z");
    assert_true(wp_clock_parse("2024-02-29", &us));
    assert_int_equal(us, INT64_C(1709164800) * WP_SECOND);
    assert_true(wp_clock_parse("1970-01-01 00:00:00.0000019Z", &us));
    assert_int_equal(us, 1);
}

static void what_is_no_instant_is_refused(void **state)
{
    (void)state;
    int64_t us = 5;
    static const char *const bad[] = {
        "",
        "2023-02-29",
        "2024-13-01",
        "2024-00-10",
        "2024-01-32",
        "2024-1-1",
        "2024-01-01T",
        "2024-01-01T10:00:00",
        "2024-01-01T24:00:00Z",
        "2024-01-01T10:60:00Z",
        "2024-01-01T10:00:61Z",
        "2024-01-01T10:00:00.Z",
        "2024-01-01T10:00:00+1:00",
        "2024-01-01T10:00:00+24:00",
        "2024-01-01T10:00:00Zx",
        "20240101T100000Z",
    };
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        assert_false(wp_clock_parse(bad[i], &us));
    assert_int_equal(us, 5);
}

/* Central European rules, stated in full so that the test needs no time zone files. */
static void local_days_follow_summer_time(void **state)
{
    (void)state;
    assert_int_equal(setenv("TZ", "CET-1CEST,M3.5.0,M10.5.0/3", 1), 0);
    tzset();
    int64_t us = 0;
    char text[WP_ISO_ROOM];
    assert_true(wp_clock_parse("2026-07-01T22:30:00Z", &us));
    wp_clock_local(us, text);
    assert_string_equal(text, "2026-07-02 00:30");
    assert_int_equal(wp_clock_local_day(us), 20260702);
    assert_int_equal(wp_clock_from_local(2026, 7, 2, 30), us);
    assert_int_equal(wp_clock_from_local(2026, 3, 30, 0) - wp_clock_from_local(2026, 3, 29, 0),
                     23 * WP_HOUR);
    assert_int_equal(setenv("TZ", "UTC", 1), 0);
    tzset();
}

static void the_boot_id_stays(void **state)
{
    (void)state;
    char first[48];
    char second[48];
    wp_clock_boot_id(first);
    wp_clock_boot_id(second);
    assert_int_equal(strlen(first), 36);
    assert_string_equal(first, second);
}

static void ids_rise_whatever_the_clock_does(void **state)
{
    (void)state;
    int64_t before = wp_id_next();
    assert_true(before >= wp_id_at(wp_clock_utc() - WP_SECOND));
    for (int i = 0; i < 10000; i++) {
        int64_t next = wp_id_next();
        assert_true(next > before);
        before = next;
    }
    int64_t future = wp_id_at(wp_clock_utc() + 365 * WP_DAY);
    wp_id_seed(future);
    assert_int_equal(wp_id_next(), future + 1);
    wp_id_seed(1);
    assert_int_equal(wp_id_next(), future + 2);
    int64_t last = 0;
    assert_true(wp_clock_parse("2093-01-01", &last));
    assert_true(wp_id_at(last) < INT64_C(1) << 53);
    assert_int_equal(wp_id_at(0), 0);
}

static void codes_are_read_as_people_type_them(void **state)
{
    (void)state;
    char code[WP_CODE_ROOM];
    char again[WP_CODE_ROOM];
    for (int i = 0; i < 200; i++) {
        wp_code_new(code);
        assert_int_equal(strlen(code), 9);
        assert_null(strpbrk(code, "01ILOU"));
        assert_true(wp_code_clean(code, again));
        assert_string_equal(code, again);
    }
    assert_true(wp_code_clean(" k7qm 4txa", code));
    assert_string_equal(code, "K7QM-4TXA");
    assert_false(wp_code_clean("K7QM-4TX", code));
    assert_false(wp_code_clean("K7QM-4TXAA", code));
    assert_false(wp_code_clean("K7QM-4TX0", code));
}

static void tokens_differ_and_hash_the_same(void **state)
{
    (void)state;
    char one[WP_TOKEN_ROOM];
    char two[WP_TOKEN_ROOM];
    unsigned char hash[WP_HASH_SIZE];
    unsigned char same[WP_HASH_SIZE];
    wp_token_new(one);
    wp_token_new(two);
    assert_int_equal(strlen(one), 43);
    assert_string_not_equal(one, two);
    wp_token_hash(one, hash);
    wp_token_hash(one, same);
    assert_true(wp_equal(hash, same, sizeof hash));
    wp_token_hash(two, same);
    assert_false(wp_equal(hash, same, sizeof hash));
    for (int i = 0; i < 100; i++)
        assert_in_range(wp_random_below(6), 0, 5);
}

/* RFC 7693 has no 256-bit vector of BLAKE2b; this one is of the reference implementation's
 * command, b2sum -l 256, on the three bytes "abc". */
static void a_token_hash_is_blake2b_256(void **state)
{
    (void)state;
    unsigned char hash[WP_HASH_SIZE];
    char text[2 * WP_HASH_SIZE + 1];
    wp_token_hash("abc", hash);
    wp_hex_encode(hash, sizeof hash, text);
    assert_string_equal(text, "bddd813c634239723171ef3fee98579b94964e3bb1cb3e427262c8c068d52319");
}

static void passwords_are_hashed_with_argon2id(void **state)
{
    (void)state;
    char hash[WP_PASSWORD_ROOM];
    assert_int_equal(wp_password_hash("correct horse", hash), WP_OK);
    assert_memory_equal(hash, "$argon2id$v=19$m=65536,t=2,p=1$", 31);
    assert_true(wp_password_check("correct horse", hash));
    assert_false(wp_password_check("correct house", hash));
    assert_false(wp_password_check("correct horse", "no hash at all"));
}

static int start(void **state)
{
    (void)state;
    return (int)wp_secret_init();
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(check_characters_agree_with_published_examples),
        cmocka_unit_test(every_accession_number_satisfies_the_standard),
        cmocka_unit_test(an_accession_number_may_be_typed_with_blanks_and_small_letters),
        cmocka_unit_test(a_mistyped_accession_number_is_refused),
        cmocka_unit_test(sha256_agrees_with_published_examples),
        cmocka_unit_test(content_digest_agrees_with_rfc_9530),
        cmocka_unit_test(a_malformed_content_digest_is_refused),
        cmocka_unit_test(instants_are_read_and_written),
        cmocka_unit_test(what_is_no_instant_is_refused),
        cmocka_unit_test(local_days_follow_summer_time),
        cmocka_unit_test(the_boot_id_stays),
        cmocka_unit_test(ids_rise_whatever_the_clock_does),
        cmocka_unit_test(codes_are_read_as_people_type_them),
        cmocka_unit_test(tokens_differ_and_hash_the_same),
        cmocka_unit_test(a_token_hash_is_blake2b_256),
        cmocka_unit_test(passwords_are_hashed_with_argon2id),
    };
    return cmocka_run_group_tests(tests, start, NULL);
}
