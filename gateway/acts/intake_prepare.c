#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>
#define ZSTD_STATIC_LINKING_ONLY /* for the parameter that keeps the entropy coder */
#include <zstd.h>

#include "acts/intake.h"

/* Compression of what waits for the mover is undone within a second. Text of digits has hardly a
 * repetition worth finding: coding its characters alone gives as few bytes as level 1 in a third
 * of the time (docs/performance.md). */
#define PACK_LEVEL (-50)
#define PACK_LEVEL_PLAIN 1 /* of a library that does not know the parameter */

struct mapping {
    void *data;
    size_t size;
};

/* Staged files are mapped: a large body is never in memory twice. */
static enum wp_status map_file(const char *path, struct mapping *mapping, struct wp_error *error)
{
    int file = open(path, O_RDONLY | O_CLOEXEC | O_NOFOLLOW);
    struct stat status;
    if (file < 0 || fstat(file, &status) != 0) {
        if (file >= 0)
            (void)close(file);
        return wp_fail(error, WP_IO, "The staged body cannot be read.");
    }
    mapping->size = (size_t)status.st_size;
    mapping->data =
        mapping->size ? mmap(NULL, mapping->size, PROT_READ, MAP_PRIVATE, file, 0) : NULL;
    (void)close(file);
    if (mapping->data == MAP_FAILED)
        return wp_fail(error, WP_NO_MEMORY, "The staged body cannot be mapped.");
    return WP_OK;
}

static size_t compress(ZSTD_CCtx *context, const struct wp_intake *intake)
{
    size_t code = ZSTD_CCtx_setParameter(context, ZSTD_c_literalCompressionMode, ZSTD_lcm_huffman);
    int level = ZSTD_isError(code) ? PACK_LEVEL_PLAIN : PACK_LEVEL;
    (void)ZSTD_CCtx_setParameter(context, ZSTD_c_compressionLevel, level);
    return ZSTD_compress2(context, intake->packed.data, intake->packed.limit, intake->data,
                          intake->size);
}

static enum wp_status pack(struct wp_intake *intake)
{
    size_t bound = ZSTD_compressBound(intake->size);
    wp_bytes_init(&intake->packed, bound);
    enum wp_status status = wp_bytes_reserve(&intake->packed, bound);
    ZSTD_CCtx *context = status ? NULL : ZSTD_createCCtx();
    if (!context)
        return WP_NO_MEMORY;
    size_t used = compress(context, intake);
    (void)ZSTD_freeCCtx(context);
    if (ZSTD_isError(used))
        return wp_fail(&intake->error, WP_IO, "Compression failed: %s.", ZSTD_getErrorName(used));
    intake->packed.size = used;
    return WP_OK;
}

static enum wp_status examine(struct wp_intake *intake)
{
    size_t count = intake->reading.spectrum_count;
    intake->spectrum_count = count > WP_INTAKE_SPECTRA ? WP_INTAKE_SPECTRA : count;
    if (!intake->spectrum_count)
        return WP_OK;
    intake->spectra = calloc(intake->spectrum_count, sizeof *intake->spectra);
    if (!intake->spectra)
        return WP_NO_MEMORY;
    for (size_t i = 0; i < intake->spectrum_count; i++) {
        const struct wp_spectrum *spectrum = &intake->reading.spectra[i];
        struct wp_curve curve;
        enum wp_status status = wp_curve_make(spectrum, &curve, NULL);
        if (status == WP_NO_MEMORY)
            return status;
        if (status)
            continue; /* no infrared curve: kept and shown, but not examined */
        status = wp_examine(spectrum, &curve, &intake->context, &intake->spectra[i].examination);
        intake->spectra[i].has_print = wp_print_make(&curve, &intake->spectra[i].print) == WP_OK;
        wp_curve_release(&curve);
        if (status)
            return status;
    }
    return WP_OK;
}

static enum wp_status prepare(struct wp_intake *intake, const void *data, size_t size)
{
    enum wp_status status = wp_sha256(data, size, intake->digest);
    if (status)
        return status;
    if (intake->has_expected && memcmp(intake->digest, intake->expected, WP_SHA256_SIZE) != 0)
        return wp_fail(&intake->error, WP_INVALID,
                       "The body does not have the digest that Content-Digest names.");
    status = wp_read(data, size, NULL, &intake->reading);
    if (status == WP_NO_MEMORY)
        return status;
    status = examine(intake);
    if (!status && !intake->stage_path)
        status = pack(intake);
    return status;
}

enum wp_status wp_intake_prepare(struct wp_intake *intake)
{
    wp_bytes_init(&intake->packed, 0);
    if (!intake->stage_path)
        return prepare(intake, intake->data, intake->size);
    struct mapping mapping = {0};
    enum wp_status status = map_file(intake->stage_path, &mapping, &intake->error);
    if (status)
        return status;
    intake->size = mapping.size;
    status = prepare(intake, mapping.data, mapping.size);
    if (mapping.data)
        (void)munmap(mapping.data, mapping.size);
    return status;
}

void wp_intake_release(struct wp_intake *intake)
{
    wp_bytes_release(&intake->packed);
    wp_reading_release(&intake->reading);
    free(intake->spectra);
    intake->spectra = NULL;
    intake->spectrum_count = 0;
}
