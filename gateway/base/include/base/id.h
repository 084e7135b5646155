/* base/id.h - identities made by the application.
 *
 * 53-bit numbers that rise with time: milliseconds since 2024-01-01 UTC times 4096, plus a counter.
 * They fit a JSON number exactly until 2093. Two processes writing one database may not both make
 * ids; the gateway holds the data folder's lock.
 *
 * Thread: any (one atomic).
 */
#ifndef BASE_ID_H
#define BASE_ID_H

#include <stdint.h>

/* The next id: larger than every one before, whatever the clock does. */
int64_t wp_id_next(void);

/* The newest id made or seeded; 0 before the first. */
int64_t wp_id_last(void);

/* Ids made from now on are larger than `seen`. Called at start with the largest id on disk. */
void wp_id_seed(int64_t seen);

/* The smallest id an instant can have: for "newer than" searches by id. */
int64_t wp_id_at(int64_t utc_us);

#endif
