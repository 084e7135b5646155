/* replay.h - what a power failure after some step may have left on the disk.
 *
 * What was synced is there. Of what was written since, each write may be there, be missing, or be
 * there in part (a disk writes sectors of 512 bytes whole), whatever the order; so may changes of a
 * file's size. The choice is drawn by rand().
 */
#ifndef POWER_REPLAY_H
#define POWER_REPLAY_H

#include "record.h"

struct image {
    unsigned char *data;
    size_t size;
    size_t room;
};

/* The disk, moved forward step by step. Zeroed is an empty one. */
struct replay {
    bool missing[FILES];       /* as if this file were never synced */
    bool store_missing;        /* as if the store were never synced */
    struct image files[FILES]; /* what is certainly there */
    size_t done;               /* steps taken */
};

/* Moves forward so that `steps` steps have been taken. */
void replay_to(struct replay *replay, const struct step *steps, size_t to);

/* Writes to `folder` a disk on which the power failed now. False if that cannot be written. */
bool replay_fail(const struct replay *replay, const struct step *steps, const char *folder);

void replay_free(struct replay *replay);

#endif
