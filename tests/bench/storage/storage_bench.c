/* storage_bench [FOLDER]: durable captures a second, beside files written one by one.
 *
 * Reference: a bare loop that writes a file of the same bytes, syncs it, renames it and syncs its
 * folder. Ours: the write job of a capture with its object, measurement, rendition, stamp and two
 * ledger entries, at several numbers of captures under way; then the same with the mover beside it,
 * until nothing is staged. Every round is repeated and the median printed, as a rate and as a ratio
 * to the reference of the same run. FOLDER (default /tmp) decides which disk is measured. */
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "archive/mover.h"
#include "base/clock.h"
#include "base/log.h"
#include "sample.h"

#define CAPTURES 2000
#define REFERENCE_FILES 400
#define BODY 25000
#define ROUNDS 3

static int next_number = 1;

static void die(const char *what)
{
    (void)fprintf(stderr, "storage_bench: %s\n", what);
    exit(1);
}

static double rate(int count, int64_t from)
{
    return count * 1e6 / (double)(wp_clock_steady() - from);
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a;
    double y = *(const double *)b;
    return (x > y) - (x < y);
}

static double median(double rates[ROUNDS])
{
    qsort(rates, ROUNDS, sizeof rates[0], by_size);
    return rates[ROUNDS / 2];
}

static void write_one(int folder, const char *bytes, int number)
{
    char name[32];
    (void)snprintf(name, sizeof name, "%d", number);
    int file = openat(folder, "part", O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
    if (file < 0 || write(file, bytes, BODY) != BODY || fsync(file) || close(file) ||
        renameat(folder, "part", folder, name) || fsync(folder))
        die("a file cannot be written");
    (void)unlinkat(folder, name, 0);
}

static double file_by_file(const char *path)
{
    unsigned char digest[WP_SHA256_SIZE];
    char *bytes = sample_bytes(0, BODY, digest);
    int folder = open(path, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (folder < 0)
        die("the folder cannot be opened");
    int64_t from = wp_clock_steady();
    for (int i = 0; i < REFERENCE_FILES; i++)
        write_one(folder, bytes, i);
    double result = rate(REFERENCE_FILES, from);
    (void)close(folder);
    free(bytes);
    return result;
}

struct run {
    struct sample *sample;
    int queued;
    int answered;
};

struct taking {
    struct sample_capture capture;
    struct run *run;
};

static void queue(struct run *run, struct taking *taking);

static enum wp_status take(struct wp_txn *txn, void *arg)
{
    return sample_take(txn, &((struct taking *)arg)->capture);
}

static void taken(void *arg, enum wp_status status)
{
    struct taking *taking = arg;
    if (status)
        die(wp_status_name(status));
    taking->run->answered++;
    if (taking->run->queued < CAPTURES)
        queue(taking->run, taking);
}

static void queue(struct run *run, struct taking *taking)
{
    *taking = (struct taking){.capture = {.number = next_number++, .size = BODY}, .run = run};
    run->queued++;
    if (wp_db_write(run->sample->db, take, taken, taking))
        die("the lane is full");
}

static void take_all(struct run *run, int depth)
{
    static struct taking takings[128];
    for (int i = 0; i < depth; i++)
        queue(run, &takings[i]);
    while (run->answered < CAPTURES)
        (void)uv_run(&run->sample->loop, UV_RUN_ONCE);
}

static double captures(const char *folder, int depth, bool moving)
{
    struct sample sample = {0};
    struct wp_mover *mover = NULL;
    (void)snprintf(sample.folder, sizeof sample.folder, "%.20s/wp-XXXXXX", folder);
    if (!mkdtemp(sample.folder) || !sample_reopen(&sample) ||
        wp_db_write_now(sample.db, sample_set_up, NULL))
        die("the archive cannot be made");
    sample_start(&sample);
    struct run run = {.sample = &sample};
    int64_t from = wp_clock_steady();
    if (moving && wp_mover_start(sample.db, sample.store, &mover, NULL))
        die("the mover does not start");
    take_all(&run, depth);
    while (moving && sample_staged(&sample) > 0)
        uv_sleep(2);
    double result = rate(CAPTURES, from);
    wp_mover_stop(mover);
    sample_close(&sample);
    sample_remove(&sample);
    return result;
}

static void report(const char *folder, int depth, bool moving, double reference)
{
    double rates[ROUNDS];
    for (int i = 0; i < ROUNDS; i++)
        rates[i] = captures(folder, depth, moving);
    double middle = median(rates);
    (void)printf("%3d under way%-28s %7.0f /s   %5.1f x\n", depth,
                 moving ? ", moved into the store" : "", middle, middle / reference);
}

int main(int count, char **arguments)
{
    const char *folder = count > 1 ? arguments[1] : "/tmp";
    static const int depths[] = {1, 8, 32, 128};
    double rates[ROUNDS];
    wp_log_set_level(WP_LOG_WARN);
    for (int i = 0; i < ROUNDS; i++)
        rates[i] = file_by_file(folder);
    double reference = median(rates);
    (void)printf("%d bytes each; medians of %d\nfile by file %30s %7.0f /s     1 x\n", BODY, ROUNDS,
                 "", reference);
    for (size_t i = 0; i < sizeof depths / sizeof depths[0]; i++)
        report(folder, depths[i], false, reference);
    report(folder, 128, true, reference);
    return 0;
}
