/* verify.h - what the files of verify share. */
#ifndef ARCHIVE_VERIFY_PARTS_H
#define ARCHIVE_VERIFY_PARTS_H

#include "archive/verify.h"

/* A run of verify. */
struct verify {
    struct wp_sql *sql;
    struct wp_store *store;
    const struct wp_verify_watch *watch;
    struct wp_verify_counts *counts;
};

/* Counts a fault and tells the watcher. */
void verify_fault(struct verify *verify, const char *format, ...)
    __attribute__((format(printf, 2, 3)));

/* verify_links.c: references in the database, both ways. */
enum wp_status verify_links(struct verify *verify);

#endif
