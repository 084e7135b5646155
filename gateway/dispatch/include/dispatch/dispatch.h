/* dispatch/dispatch.h - deliveries: one sheet on its way to one printer or mailbox.
 *
 * A delivery is enqueued in the same transaction as its reason. After the commit the dispatcher
 * chooses a printer, sends the sheet, and follows it until it is out of the printer or, for mail,
 * until the next mail server has taken it. Every change of state goes through wp_delivery_move (see
 * delivery.h), which checks it against the one table of transitions and appends an event with time,
 * reason and author.
 *
 *   waiting ---> sending ---> printing ---> done (mail that came back: failed)
 *      |  ^        |             |
 *      |  |        +--> failed   +--> uncertain --> (a person decides)
 *      |  +-- asking (another room?) --> inbox
 *      +--> cancelled
 *
 * Exactly once, as far as a printer allows. A job's name is its delivery's id. The job is created
 * empty (Create-Job), its number committed, and only then the sheet sent (Send-Document, RFC 8011
 * section 4.3.1): so a delivery without a committed number was never sent. After a crash the
 * printer is asked for that job; where it cannot say, the delivery is *uncertain*, and a person
 * decides. Printers without Create-Job are asked for all jobs of that name; port 9100 reports
 * nothing, so there a crash in the middle is always uncertain. Nothing is sent again while it is
 * uncertain.
 *
 * Mail prefers twice to never (RFC 5321 section 6.1): after a crash it is sent again with the same
 * Message-ID. Mail that comes back after a server had taken it turns *done* into *failed*; where
 * the address will never take mail, no more is sent there until it is changed or somebody tries
 * again.
 */
#ifndef DISPATCH_DISPATCH_H
#define DISPATCH_DISPATCH_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <uv.h>

#include "base/bytes.h"
#include "db/db.h"
#include "people/ask.h"
#include "post/post.h"

/* ---- what acts call inside their transaction ---- */

enum wp_delivery_kind { WP_DELIVERY_PRINT, WP_DELIVERY_MAIL };

/* How mail goes out. A person's own choice (mail_choice) goes before what is asked for here, but
 * never from link to attachment: a campus that forbids attachments stays obeyed. */
enum wp_mailing {
    WP_MAILING_NONE,   /* not at all: the delivery ends as *inbox* at once */
    WP_MAILING_DIGEST, /* one mail for all that are due at the same time, sheets attached */
    WP_MAILING_EACH,   /* one mail a sheet, attached */
    WP_MAILING_LINK    /* digest of links, nothing attached */
};

struct wp_delivery_request {
    enum wp_delivery_kind kind;
    int64_t measurement;
    int64_t person;     /* whose sheet; 0: nobody's yet (print only) */
    int64_t instrument; /* where it was measured: the printer is chosen from there */
    int64_t course;     /* for the day's limit; 0: none */
    int64_t printer;    /* the one asked for; 0: the nearest */
    int pages;          /* 1 to 100 */
    int pages_a_day;    /* the course's limit for one person and local day; 0: no limit */
    bool large_print;
    enum wp_mailing mailing; /* mail only */
    int64_t due_us;          /* not before; 0: now. For a digest: when the class is over */
    const char *reason;      /* "Kept at the bench." One sentence for the student; required */
    enum wp_actor actor;     /* who asked, for the event */
    int64_t actor_id;
};

/* The answer to an enqueue. */
struct wp_delivery_made {
    int64_t id;
    bool over_limit;          /* it went to the inbox, because of the day's limit */
    char text[WP_ERROR_TEXT]; /* what to tell the student */
};

/* Enqueues. WP_OK also when the day's limit sends it to the inbox instead (see `made`).
 * WP_INVALID: a field out of range. WP_NOT_FOUND: no such printer. Database errors. */
enum wp_status wp_delivery_enqueue(struct wp_txn *txn, const struct wp_delivery_request *request,
                                   struct wp_delivery_made *made, struct wp_error *error);

/* Takes back what is under way for a measurement (not 0), or for a person (`measurement` 0):
 * waiting sheets and mails are cancelled, a printer is asked to give its job back, and what a mail
 * server has not yet taken is not sent. Of a person also goes their choice of mail. Database
 * errors. */
enum wp_status wp_delivery_forget(struct wp_txn *txn, int64_t measurement, int64_t person,
                                  const char *reason);

/* Called inside the transaction after every change of state, for numbered events: texts are
 * literals or live during the call. Set once before threads start; NULL: none. */
struct wp_delivery_change {
    int64_t id;
    int64_t measurement;
    int64_t person;
    int64_t instrument;
    int64_t printer;
    const char *from; /* "" when it is new */
    const char *to;
    const char *reason;
};
typedef enum wp_status (*wp_delivery_hook)(struct wp_txn *txn,
                                           const struct wp_delivery_change *change);
void wp_delivery_set_hook(wp_delivery_hook hook);

/* ---- the dispatcher ---- */

struct wp_dispatch;

/* What is asked of the caller for one delivery, on a lane thread. */
struct wp_sheet_wanted {
    int64_t delivery;
    int64_t measurement;
    int64_t person;
    bool large_print;
    bool letter;   /* US Letter instead of A4 */
    bool for_mail; /* fill `mail` too */
    bool no_pdf;   /* link only: leave `pdf` empty */
};

/* Where mail that bounces later comes back to, and how it is read. */
struct wp_mailbox_options {
    const char *url;    /* imap://host:port or imaps://host:port, without a path */
    const char *folder; /* "INBOX"; letters, digits and ._- alone */
    bool require_tls;   /* STARTTLS or nothing; imaps is always TLS */
    const char *user;
    const char *password; /* never logged */
    const char *ca_file;  /* PEM of trusted roots; NULL: the system's */
    int64_t every_us;     /* from the end of a look to the next */
};

struct wp_dispatch_options {
    /* Draws the sheet and appends its PDF to `*pdf`; for mail also fills who gets it and what it
     * says. Lane thread, possibly several at once. WP_NOT_FOUND or WP_INVALID: the delivery fails
     * with error->text; WP_RETRY: it is tried again later. */
    enum wp_status (*render)(void *arg, const struct wp_sheet_wanted *wanted, struct wp_bytes *pdf,
                             struct wp_post_sheet *mail, struct wp_error *error);
    /* Inside a transaction: a printer's state changed ("ready", "no paper", "unreachable", ...),
     * for states over time. May be NULL. */
    enum wp_status (*printer_state)(struct wp_txn *txn, int64_t printer, const char *state);
    void *arg;
    int64_t owner; /* who holds the leases: the same after a restart, another for each gateway on
                      one database; 0: 1 */
    /* How mail is sent; NULL: it is not set up, mails wait and say so. Copied. */
    const struct wp_post_options *post;
    /* NULL: no mailbox is read. Borrowed until wp_dispatch_stop. */
    const struct wp_mailbox_options *mailbox;
    const char *spool; /* folder for converted files of port-9100 printers; NULL: the data folder */
    /* Times, for tests; 0 takes the default. */
    unsigned watch_ms;   /* between two looks at an idle printer: 10,000 */
    unsigned follow_ms;  /* between two looks at one that is printing: 1,000 */
    unsigned answer_ms;  /* a printer must answer within: 5,000 */
    unsigned silence_ms; /* a job not answered for is uncertain after: 60,000 */
    unsigned lease_ms;   /* of a claim: 120,000 */
    int64_t backoff_us;  /* between two tries of a mail, instead of wp_post_backoff_us */
};

/* Starts on `loop`, which must be the database's. Deliveries left over by a crash are looked at
 * first. WP_NO_MEMORY, or a database error. */
enum wp_status wp_dispatch_start(struct wp_db *db, uv_loop_t *loop,
                                 const struct wp_dispatch_options *options,
                                 struct wp_dispatch **dispatch, struct wp_error *error);

/* Something was committed: looks for new deliveries and changed printers soon (at most every 50
 * ms). Cheap; call it from wp_db_options.committed. Loop thread. NULL is harmless. */
void wp_dispatch_kick(struct wp_dispatch *dispatch);

/* Stops taking new ones, waits for what is under way at a printer (bounded by a few times
 * answer_ms), and frees it. Call it before wp_db_close and not from inside a callback: it turns the
 * loop itself for the answers that are left, 30 s at most. NULL is harmless. */
void wp_dispatch_stop(struct wp_dispatch *dispatch);

/* ---- acts and views ----
 *
 * People (not staff) may act on their own deliveries only, and benches on their instrument's; this
 * is checked here. Ids are whole numbers. Every act answers the changed row as the views show it.
 */

/* Printers. Body: name, uri (ipp:, ipps:, socket:), place, where ("by the door"), paper ("a4",
 * "letter"), language ("pdf", "postscript", "pcl": socket: only), behind_most. Change takes the
 * printer's id as parameter 0 and any of these, and `forget_certificate`. For staff. */
enum wp_status wp_printer_act_add(struct wp_txn *txn, const struct wp_ask *ask, cJSON **out,
                                  struct wp_error *error);
enum wp_status wp_printer_act_change(struct wp_txn *txn, const struct wp_ask *ask, cJSON **out,
                                     struct wp_error *error);
/* Parameter 0; body: `reason`. Pause: nothing new is sent there. Drain: sheets that wait for it go
 * elsewhere, what it has is finished, then it is paused. Resume. Remove: WP_CONFLICT while it has
 * sheets. */
enum wp_status wp_printer_act_pause(struct wp_txn *txn, const struct wp_ask *ask, cJSON **out,
                                    struct wp_error *error);
enum wp_status wp_printer_act_drain(struct wp_txn *txn, const struct wp_ask *ask, cJSON **out,
                                    struct wp_error *error);
enum wp_status wp_printer_act_resume(struct wp_txn *txn, const struct wp_ask *ask, cJSON **out,
                                     struct wp_error *error);
enum wp_status wp_printer_act_remove(struct wp_txn *txn, const struct wp_ask *ask, cJSON **out,
                                     struct wp_error *error);
/* {"printers":[{id,name,uri,place,where,paper,language,behind_most,mode,mode_reason,state,
 * state_text,reasons,model,media,sides,colour,jobs,seen_us,sheets}]} */
enum wp_status wp_printer_view_list(struct wp_sql *sql, const struct wp_ask *ask, cJSON **out,
                                    struct wp_error *error);

/* Deliveries, parameter 0. Retry: a failed, cancelled or inbox one is sent again. Redirect: body
 * `printer`; a waiting, asking or failed one. Cancel: one that has not been sent, or is withdrawn
 * from the printer first. Answer: to the question about another room, body `answer`: "print" or
 * "inbox". Resolve: an uncertain one, body `found`: "printed" or "not printed" (then it is sent
 * again). WP_CONFLICT: its state does not allow it. */
enum wp_status wp_delivery_act_retry(struct wp_txn *txn, const struct wp_ask *ask, cJSON **out,
                                     struct wp_error *error);
enum wp_status wp_delivery_act_redirect(struct wp_txn *txn, const struct wp_ask *ask, cJSON **out,
                                        struct wp_error *error);
enum wp_status wp_delivery_act_cancel(struct wp_txn *txn, const struct wp_ask *ask, cJSON **out,
                                      struct wp_error *error);
enum wp_status wp_delivery_act_answer(struct wp_txn *txn, const struct wp_ask *ask, cJSON **out,
                                      struct wp_error *error);
enum wp_status wp_delivery_act_resolve(struct wp_txn *txn, const struct wp_ask *ask, cJSON **out,
                                       struct wp_error *error);
/* Newest first, at most 100; query: state, printer, person, measurement, before (an id).
 * {"deliveries":[{id,kind,measurement,person,instrument,printer,printer_name,printer_where,state,
 * reason,pages,mailing,attempts,taking_back,created_us,changed_us}]}; taking_back is 1 while a
 * printer is asked to give it back, 2 if it goes elsewhere then. */
enum wp_status wp_delivery_view_list(struct wp_sql *sql, const struct wp_ask *ask, cJSON **out,
                                     struct wp_error *error);
/* Parameter 0: the same, with "events":[{at_us,state,printer,reason,actor,actor_id}]. */
enum wp_status wp_delivery_view_one(struct wp_sql *sql, const struct wp_ask *ask, cJSON **out,
                                    struct wp_error *error);

/* What the asking person wants of mail: body `choice`: course, none, digest, each, link. The view
 * says also what came back from the person's present address, or null:
 * {"choice":"course","returned":{at_us,reason,stopped}}. */
enum wp_status wp_mail_act_choose(struct wp_txn *txn, const struct wp_ask *ask, cJSON **out,
                                  struct wp_error *error);
enum wp_status wp_mail_view_choice(struct wp_sql *sql, const struct wp_ask *ask, cJSON **out,
                                   struct wp_error *error);
/* The same "returned" for a list of people; NULL only if out of memory. Database errors. */
enum wp_status wp_mail_returned(struct wp_sql *sql, int64_t person, cJSON **out);

#endif
