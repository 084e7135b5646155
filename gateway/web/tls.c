#include "web/tls.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include <gnutls/abstract.h>
#include <gnutls/crypto.h>
#include <gnutls/gnutls.h>
#include <gnutls/x509.h>
#include <sodium.h>

#include "base/digest.h"
#include "base/secret.h"

#define PATH_ROOM 700
#define LIFE_DAYS 3650 /* agents trust the key, not the date; browsers ask either way */

/* ---- files ---- */

static enum wp_status read_pem(const char *path, char **text, struct wp_error *error)
{
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    if (fd < 0)
        return wp_fail(error, errno == ENOENT ? WP_NOT_FOUND : WP_IO, "%s: %s.", path,
                       strerror(errno));
    char *room = calloc(1, WP_TLS_PEM_MOST + 1);
    size_t size = 0;
    ssize_t got = 1;
    while (room && got > 0 && size < WP_TLS_PEM_MOST) {
        got = read(fd, room + size, WP_TLS_PEM_MOST - size);
        size += got > 0 ? (size_t)got : 0;
    }
    close(fd);
    if (!room || got < 0 || size == WP_TLS_PEM_MOST) {
        free(room);
        return wp_fail(error, room ? WP_IO : WP_NO_MEMORY, "%s cannot be read.", path);
    }
    *text = room;
    return WP_OK;
}

/* Written beside, synced and renamed: after a crash there is the whole file or none. */
static enum wp_status write_pem(const char *path, const char *text, mode_t mode,
                                struct wp_error *error)
{
    char part[PATH_ROOM + 8];
    snprintf(part, sizeof part, "%s.part", path);
    unlink(part);
    int fd = open(part, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, mode);
    size_t size = strlen(text);
    bool good = fd >= 0 && write(fd, text, size) == (ssize_t)size && fsync(fd) == 0;
    int code = errno;
    if (fd >= 0)
        close(fd);
    if (good && rename(part, path) == 0)
        return WP_OK;
    return wp_fail(error, WP_IO, "%s cannot be written: %s.", path, strerror(good ? errno : code));
}

/* ---- making a certificate ---- */

static int add_names(gnutls_x509_crt_t crt, const char *host)
{
    static const unsigned char loop4[] = {127, 0, 0, 1};
    static const unsigned char loop6[16] = {[15] = 1};
    char machine[256] = "";
    const unsigned add = GNUTLS_FSAN_APPEND;
    int rc = gnutls_x509_crt_set_subject_alt_name(crt, GNUTLS_SAN_DNSNAME, "localhost", 9,
                                                  GNUTLS_FSAN_SET);
    if (rc >= 0)
        rc = gnutls_x509_crt_set_subject_alt_name(crt, GNUTLS_SAN_IPADDRESS, loop4, 4, add);
    if (rc >= 0)
        rc = gnutls_x509_crt_set_subject_alt_name(crt, GNUTLS_SAN_IPADDRESS, loop6, 16, add);
    if (rc >= 0 && gethostname(machine, sizeof machine - 1) == 0 && machine[0])
        rc = gnutls_x509_crt_set_subject_alt_name(crt, GNUTLS_SAN_DNSNAME, machine,
                                                  (unsigned)strlen(machine), add);
    bool name = host && host[strspn(host, "0123456789.")] && !strchr(host, ':');
    if (rc >= 0 && name && strcmp(host, "localhost") != 0)
        rc = gnutls_x509_crt_set_subject_alt_name(crt, GNUTLS_SAN_DNSNAME, host,
                                                  (unsigned)strlen(host), add);
    return rc;
}

static int fill_certificate(gnutls_x509_crt_t crt, gnutls_x509_privkey_t key, const char *host)
{
    unsigned char serial[16];
    gnutls_rnd(GNUTLS_RND_NONCE, serial, sizeof serial);
    serial[0] &= 0x7F;
    time_t now = time(NULL);
    int rc = gnutls_x509_crt_set_version(crt, 3);
    if (rc >= 0)
        rc = gnutls_x509_crt_set_serial(crt, serial, sizeof serial);
    if (rc >= 0)
        rc = gnutls_x509_crt_set_activation_time(crt, now - 24 * 3600);
    if (rc >= 0)
        rc = gnutls_x509_crt_set_expiration_time(crt, now + (time_t)LIFE_DAYS * 24 * 3600);
    if (rc >= 0)
        rc = gnutls_x509_crt_set_dn(crt, "CN=Wavepost gateway", NULL);
    if (rc >= 0)
        rc = gnutls_x509_crt_set_key(crt, key);
    if (rc >= 0)
        rc = gnutls_x509_crt_set_basic_constraints(crt, 0, -1);
    if (rc >= 0)
        rc = gnutls_x509_crt_set_key_usage(crt, GNUTLS_KEY_DIGITAL_SIGNATURE);
    if (rc >= 0)
        rc = gnutls_x509_crt_set_key_purpose_oid(crt, GNUTLS_KP_TLS_WWW_SERVER, 0);
    if (rc >= 0)
        rc = add_names(crt, host);
    if (rc >= 0)
        rc = gnutls_x509_crt_sign2(crt, crt, key, GNUTLS_DIG_SHA256, 0);
    return rc;
}

static char *to_text(gnutls_datum_t *datum)
{
    char *text = calloc(1, (size_t)datum->size + 1);
    if (text)
        memcpy(text, datum->data, datum->size);
    sodium_memzero(datum->data, datum->size);
    gnutls_free(datum->data);
    datum->data = NULL;
    return text;
}

static int generate(const char *host, struct wp_tls *tls)
{
    gnutls_x509_privkey_t key = NULL;
    gnutls_x509_crt_t crt = NULL;
    gnutls_datum_t key_pem = {NULL, 0};
    gnutls_datum_t crt_pem = {NULL, 0};
    int rc = gnutls_x509_privkey_init(&key);
    if (rc >= 0)
        rc = gnutls_x509_privkey_generate(key, GNUTLS_PK_ECDSA,
                                          GNUTLS_CURVE_TO_BITS(GNUTLS_ECC_CURVE_SECP256R1), 0);
    if (rc >= 0)
        rc = gnutls_x509_crt_init(&crt);
    if (rc >= 0)
        rc = fill_certificate(crt, key, host);
    if (rc >= 0)
        rc = gnutls_x509_privkey_export2(key, GNUTLS_X509_FMT_PEM, &key_pem);
    if (rc >= 0)
        rc = gnutls_x509_crt_export2(crt, GNUTLS_X509_FMT_PEM, &crt_pem);
    if (key_pem.data)
        tls->key = to_text(&key_pem);
    if (crt_pem.data)
        tls->certificate = to_text(&crt_pem);
    gnutls_x509_crt_deinit(crt);
    gnutls_x509_privkey_deinit(key);
    return rc;
}

/* ---- checking ---- */

/* A session could not tell early and clearly that key and certificate do not belong together. */
static enum wp_status check_pair(const struct wp_tls *tls, struct wp_error *error)
{
    gnutls_certificate_credentials_t credentials = NULL;
    gnutls_datum_t crt = {(unsigned char *)tls->certificate, (unsigned)strlen(tls->certificate)};
    gnutls_datum_t key = {(unsigned char *)tls->key, (unsigned)strlen(tls->key)};
    int rc = gnutls_certificate_allocate_credentials(&credentials);
    if (rc >= 0)
        rc = gnutls_certificate_set_x509_key_mem(credentials, &crt, &key, GNUTLS_X509_FMT_PEM);
    if (credentials)
        gnutls_certificate_free_credentials(credentials);
    return rc >= 0 ? WP_OK
                   : wp_fail(error, WP_INVALID, "The certificate and its key cannot be used: %s",
                             gnutls_strerror(rc));
}

enum wp_status wp_tls_load(const char *certificate_path, const char *key_path, struct wp_tls *tls,
                           struct wp_error *error)
{
    memset(tls, 0, sizeof *tls);
    enum wp_status status = read_pem(certificate_path, &tls->certificate, error);
    if (!status)
        status = read_pem(key_path, &tls->key, error);
    if (!status)
        status = check_pair(tls, error);
    if (status)
        wp_tls_release(tls);
    return status;
}

static enum wp_status make_own(const char *certificate_path, const char *key_path, const char *host,
                               struct wp_tls *tls, struct wp_error *error)
{
    memset(tls, 0, sizeof *tls);
    int rc = generate(host, tls);
    if (rc < 0 || !tls->key || !tls->certificate) {
        wp_tls_release(tls);
        return wp_fail(error, WP_IO, "A certificate could not be made: %s", gnutls_strerror(rc));
    }
    enum wp_status status = write_pem(key_path, tls->key, 0600, error);
    if (!status)
        status = write_pem(certificate_path, tls->certificate, 0644, error);
    if (status)
        wp_tls_release(tls);
    return status;
}

enum wp_status wp_tls_own(const char *folder, const char *host, struct wp_tls *tls,
                          struct wp_error *error)
{
    char certificate_path[PATH_ROOM];
    char key_path[PATH_ROOM];
    snprintf(key_path, sizeof key_path, "%s/tls", folder);
    if (mkdir(key_path, 0700) != 0 && errno != EEXIST)
        return wp_fail(error, WP_IO, "%s cannot be made: %s.", key_path, strerror(errno));
    snprintf(certificate_path, sizeof certificate_path, "%s/tls/cert.pem", folder);
    snprintf(key_path, sizeof key_path, "%s/tls/key.pem", folder);
    enum wp_status status = access(certificate_path, F_OK) != 0
                                ? make_own(certificate_path, key_path, host, tls, error)
                                : wp_tls_load(certificate_path, key_path, tls, error);
    tls->own = status == WP_OK;
    return status;
}

enum wp_status wp_tls_pin(const char *certificate_pem, char pin[WP_TLS_PIN_ROOM],
                          struct wp_error *error)
{
    gnutls_x509_crt_t crt = NULL;
    gnutls_pubkey_t key = NULL;
    union {
        const char *text;
        unsigned char *data; /* the library only reads it */
    } given = {.text = certificate_pem};
    gnutls_datum_t pem = {given.data, (unsigned)strlen(certificate_pem)};
    gnutls_datum_t der = {NULL, 0};
    int rc = gnutls_x509_crt_init(&crt);
    if (rc >= 0)
        rc = gnutls_x509_crt_import(crt, &pem, GNUTLS_X509_FMT_PEM);
    if (rc >= 0)
        rc = gnutls_pubkey_init(&key);
    if (rc >= 0)
        rc = gnutls_pubkey_import_x509(key, crt, 0);
    if (rc >= 0)
        rc = gnutls_pubkey_export2(key, GNUTLS_X509_FMT_DER, &der);
    unsigned char digest[WP_SHA256_SIZE];
    if (rc >= 0 && wp_sha256(der.data, der.size, digest) == WP_OK)
        sodium_bin2base64(pin, WP_TLS_PIN_ROOM, digest, sizeof digest,
                          sodium_base64_VARIANT_URLSAFE_NO_PADDING);
    gnutls_free(der.data);
    gnutls_pubkey_deinit(key);
    gnutls_x509_crt_deinit(crt);
    return rc >= 0 ? WP_OK
                   : wp_fail(error, WP_INVALID, "The certificate cannot be read: %s",
                             gnutls_strerror(rc));
}

void wp_tls_release(struct wp_tls *tls)
{
    if (tls->key)
        sodium_memzero(tls->key, strlen(tls->key));
    free(tls->key);
    free(tls->certificate);
    memset(tls, 0, sizeof *tls);
}
