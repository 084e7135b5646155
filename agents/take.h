/* take.h - one file's bytes into the spool. Blocks; from a folder's own thread. */
#ifndef AGENT_TAKE_H
#define AGENT_TAKE_H

#include <stdbool.h>

#include "settle.h"
#include "spool.h"

enum wp_taken {
    WP_TAKEN,      /* in the spool, synced */
    WP_TAKE_KNOWN, /* this state of the file with these bytes is there already */
    WP_TAKE_CHANGED,
    WP_TAKE_INCOMPLETE, /* early, and not a complete JCAMP-DX file */
    WP_TAKE_VANISHED,
    WP_TAKE_UNREADABLE,
    WP_TAKE_FULL,  /* the spool's limit or the disk */
    WP_TAKE_BROKEN /* the spool cannot be trusted any more */
};

struct wp_take {
    const char *whole; /* path to open */
    const char *path;  /* relative to the folder */
    int64_t folder;
    struct wp_look look; /* the file must still look like this, before and after reading */
    bool keep_inode;
    bool early; /* only if it is a complete JCAMP-DX file */
    bool backfill;
    uint64_t key, mark;
    int64_t number; /* after WP_TAKEN */
    int trouble;    /* after UNREADABLE: a libuv error */
};

enum wp_taken wp_take(struct wp_take *take, struct wp_spool *spool);

#endif
