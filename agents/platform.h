/* platform.h - what differs between operating systems; one platform_*.c answers each.
 *
 * Thread: any.
 */
#ifndef AGENT_PLATFORM_H
#define AGENT_PLATFORM_H

#include <stdbool.h>

#include "base/status.h"

/* "linux", "windows": as the gateway shows it. */
const char *wp_platform_name(void);

/* Opens a regular file for reading so that its owner may go on writing, renaming and deleting it.
 * Symbolic links are not followed and nothing blocks on a device. -1 with errno. */
int wp_platform_open(const char *path);

/* True if the folder lies on a file system that tells nobody of changes made elsewhere and whose
 * inode numbers need not last (a network share). False if it cannot be told. */
bool wp_platform_remote(const char *path);

/* True if the folder lies in memory, so that a restart empties it. */
bool wp_platform_passing(const char *folder);

/* The account that the folder belongs to, if that is not the one we run as: then true. */
bool wp_platform_foreign(const char *folder, char *account, size_t room);

/* Makes the folder if it is missing, readable by this account alone. WP_IO with the reason. */
enum wp_status wp_platform_private_folder(const char *path, struct wp_error *error);

/* Takes the state folder's lock, which ends with the process. WP_CONFLICT: another agent holds it;
 * WP_IO. */
enum wp_status wp_platform_lock(const char *folder, struct wp_error *error);
/* True if some process holds it. */
bool wp_platform_locked(const char *folder);

/* A file that may grow no further, and a reader of our log that is gone, are errors of the call and
 * not the end of the process. Called first thing. */
void wp_platform_outlive(void);

/* Keeps memory small: one heap for all threads, freed pages given back. Called first thing. */
void wp_platform_thrift(void);
/* Gives freed memory back after a burst of work. */
void wp_platform_tidy(void);

/* Bytes free for us on the disk that holds the folder; -1 if it cannot be told. */
long long wp_platform_disk_free(const char *folder);

#endif
