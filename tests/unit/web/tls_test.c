#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/secret.h"
#include "web/tls.h"

static char folder[] = "/tmp/wavepost-tls-XXXXXX";

/* Made with: openssl ecparam -name prime256v1 -genkey -noout -out k.pem
 * openssl req -x509 -new -key k.pem -subj /CN=fixture -days 36500 */
static const char fixture[] = "-----BEGIN CERTIFICATE-----\n"
                              "MIIBezCCASGgAwIBAgIUaa9B3i7E/sfAPkZLl65p8TaH8mcwCgYIKoZIzj0EAwIw\n"
                              "EjEQMA4GA1UEAwwHZml4dHVyZTAgFw0yNjExMjUxMTM0NTVaGA8yMTI2MTEwMTEx\n"
                              "MzQ1NVowEjEQMA4GA1UEAwwHZml4dHVyZTBZMBMGByqGSM49AgEGCCqGSM49AwEH\n"
                              "A0IABJxEu2cmoaiaS5RxOjNbrsbIA7xIfQ9Bh5wCsj+m46o1HZLxBrK0Udmt3Ixy\n"
                              "VEh5CfeDbhhT7QjVsiEMqFMjIFKjUzBRMB0GA1UdDgQWBBT2jp1p2UVX5Qb40I0E\n"
                              "2LnHbeWpmzAfBgNVHSMEGDAWgBT2jp1p2UVX5Qb40I0E2LnHbeWpmzAPBgNVHRMB\n"
                              "Af8EBTADAQH/MAoGCCqGSM49BAMCA0gAMEUCIB6GJu0gtaYOkfWYrqh2sreuNYh3\n"
                              "8lNPpL0NMXlFZfhLAiEAjaMh02WGKByqmXKWdnJ14KLmijC1i0wHRfY2TsSGW4k=\n"
                              "-----END CERTIFICATE-----\n";
/* openssl x509 -in c.pem -noout -pubkey | openssl pkey -pubin -outform der |
 * openssl dgst -sha256 -binary | openssl base64 | tr '+/' '-_' | tr -d '=' */
static const char fixture_pin[] = "Gf0o8SRvjcgkQRnsly5LSadnwd6-UbDY0xqWgRxorr4";

static void the_pin_is_what_openssl_computes(void **state)
{
    (void)state;
    char pin[WP_TLS_PIN_ROOM];
    assert_int_equal(wp_tls_pin(fixture, pin, NULL), WP_OK);
    assert_string_equal(pin, fixture_pin);
    assert_int_equal(wp_tls_pin("no certificate", pin, NULL), WP_INVALID);
}

static void the_first_start_makes_a_pair_and_the_next_keeps_it(void **state)
{
    (void)state;
    struct wp_tls first;
    struct wp_tls second;
    struct wp_error error = {0};
    assert_int_equal(wp_tls_own(folder, "lab.example", &first, &error), WP_OK);
    assert_true(first.own);
    assert_int_equal(wp_tls_own(folder, "lab.example", &second, &error), WP_OK);
    assert_string_equal(first.certificate, second.certificate);
    assert_string_equal(first.key, second.key);
    char path[128];
    struct stat about;
    snprintf(path, sizeof path, "%s/tls/key.pem", folder);
    assert_int_equal(stat(path, &about), 0);
    assert_int_equal(about.st_mode & 0777, 0600);
    wp_tls_release(&first);
    wp_tls_release(&second);
}

static void a_key_of_another_certificate_is_refused(void **state)
{
    (void)state;
    char certificate[128];
    char key[128];
    snprintf(certificate, sizeof certificate, "%s/other.pem", folder);
    snprintf(key, sizeof key, "%s/tls/key.pem", folder);
    FILE *file = fopen(certificate, "w");
    assert_non_null(file);
    fputs(fixture, file);
    fclose(file);
    struct wp_tls tls;
    struct wp_error error = {0};
    assert_int_equal(wp_tls_load(certificate, key, &tls, &error), WP_INVALID);
    assert_null(tls.key);
    assert_int_equal(wp_tls_load("/nonexistent/cert.pem", key, &tls, &error), WP_NOT_FOUND);
    assert_non_null(strstr(error.text, "/nonexistent/cert.pem"));
    unlink(certificate);
}

static int make_folder(void **state)
{
    (void)state;
    return wp_secret_init() || !mkdtemp(folder) ? -1 : 0;
}

static int remove_folder(void **state)
{
    (void)state;
    char path[128];
    static const char *const names[] = {"tls/key.pem", "tls/cert.pem", "tls", ""};
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        snprintf(path, sizeof path, "%s/%s", folder, names[i]);
        remove(path);
    }
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_pin_is_what_openssl_computes),
        cmocka_unit_test(the_first_start_makes_a_pair_and_the_next_keeps_it),
        cmocka_unit_test(a_key_of_another_certificate_is_refused),
    };
    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
