/* parts.h - what the files of the database room share. */
#ifndef DB_PARTS_H
#define DB_PARTS_H

#include <pthread.h>
#include <stdatomic.h>
#include <stddef.h>

#include "db/db.h"

#define DB_GROUP_JOBS 128
#define DB_GROUP_BYTES (8 * 1024 * 1024)
#define DB_READERS_MOST 16

/* A thread that waits for its write. */
struct db_waiter {
    pthread_cond_t answered;
    bool done;
};

struct db_item {
    wp_write_fn write; /* of a write */
    wp_read_fn read;   /* of a read */
    wp_done_fn done;
    void *job;
    enum wp_status status;
    bool settled; /* the status is final */
    struct db_waiter *waiter;
    struct db_item *next;
};

struct db_list {
    struct db_item *first;
    struct db_item **end;
};

void db_list_init(struct db_list *list);
void db_list_add(struct db_list *list, struct db_item *item);
struct db_item *db_list_take(struct db_list *list);

/* One of the two lanes. Everything in it is under the database's mutex. */
struct db_lane {
    struct db_list waiting;
    size_t count; /* items waiting */
    struct db_item *spare;
    bool refused; /* somebody was told to come again */
    struct db_item *items;
    pthread_cond_t work_there;
};

struct wp_db {
    /* fixed after wp_db_open */
    char *folder;
    char *path;
    struct wp_db_options options;
    int lock;
    struct wp_sql *sql; /* the writer's: of the opener until the start, then of the writer thread */
    int64_t hold_at;    /* of the writer thread: the size of the log at which it waits */
    int64_t mark;       /* ids below it may be on disk; of whoever has `sql` */

    /* fixed after wp_db_start */
    bool started;
    pthread_t writer_thread;
    pthread_t reader_threads[DB_READERS_MOST];
    struct wp_sql *reader_sql[DB_READERS_MOST];
    pthread_t checkpoint_thread;
    struct wp_sql *checkpoint_sql;
    unsigned threads_started; /* writer, checkpointer, readers: in this order */
    uv_async_t wake;

    pthread_mutex_t mutex;
    /* under the mutex */
    struct db_lane writes;
    struct db_lane reads;
    struct db_list finished; /* reads and writes, for the loop */
    bool stopping;
    bool broken;
    bool broken_told;
    bool committed;
    bool checkpoint_stop;
    bool checkpoint_asked;
    bool scrub_asked;
    bool writer_held; /* the writer waits for a checkpoint of everything */
    pthread_cond_t checkpoint_done;
    pthread_cond_t checkpoint_due;

    void (*room)(void *arg); /* of the loop thread */
    void *room_arg;

    atomic_uint_fast64_t jobs;
    atomic_uint_fast64_t commits;
    atomic_int_fast64_t wal_bytes;
};

/* folder.c: makes the folder and takes its lock. The descriptor to close, or -1 with the error. */
int db_lock_folder(const char *folder, struct wp_error *error);

/* migrate.c */
enum wp_status db_migrate(struct wp_sql *sql, struct wp_error *error);

/* mark.c: the highest id that may be on disk. `keep` runs inside each transaction before its
 * commit; `tidy` writes the exact one at an orderly end. */
enum wp_status db_mark_load(struct wp_db *db);
enum wp_status db_mark_keep(struct wp_db *db);
void db_mark_tidy(struct wp_db *db);

/* group.c: runs jobs as one transaction and settles them; those beyond the bound of bytes stay
 * unsettled. WP_BROKEN if the storage can no longer be trusted, else WP_OK. */
enum wp_status db_run_group(struct wp_db *db, struct db_item **group, size_t count);

/* The threads' functions. */
void *db_writer(void *db);
void *db_reader_thread(void *db);
void *db_checkpointer(void *db);

/* checkpoint.c: watches the size of the write-ahead log on the writer's connection. */
void db_watch_wal(struct wp_db *db);

/* checkpoint.c: between two groups, lets a log that has grown large be copied whole. The wait ends
 * with the checkpointer's next try, at most a second after readers stand in its way. */
void db_hold_writer(struct wp_db *db);

/* scrub.c: between two groups, on the writer's thread: rewrites the database if that was
 * asked. False: it was not, or the database is closing or broken. */
bool db_scrub_if_asked(struct wp_db *db);

/* lanes.c: answers on the loop's thread everything that has finished. */
void db_answer(struct wp_db *db);

/* db.c: hands a finished item to whoever waits for it. With the mutex held. */
void db_finish(struct wp_db *db, struct db_item *item);
/* Notes once that the storage failed. Any thread, without the mutex. */
void db_break(struct wp_db *db, const char *what);

#endif
