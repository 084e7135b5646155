/* dispatch/health.h - what a printer's own words mean for a sheet. Pure; private to dispatch.
 *
 * Sources: printer-state and printer-state-reasons, RFC 8011 sections 5.4.11 and 5.4.12 (a keyword
 * may end in -report, -warning or -error; without an ending the severity is not known); job states,
 * section 5.3.7; reasons of jobs, section 5.3.8. Which keywords stop a sheet: common practice, no
 * source.
 */
#ifndef DISPATCH_HEALTH_H
#define DISPATCH_HEALTH_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum wp_health {
    WP_HEALTH_UNKNOWN,  /* not asked yet */
    WP_HEALTH_READY,    /* takes sheets and prints them */
    WP_HEALTH_DOUBTFUL, /* says that paper is missing somewhere, but has not stopped */
    WP_HEALTH_BLOCKED   /* prints nothing now */
};

#define WP_REASONS_MOST 256 /* bytes of all reasons joined by commas */

/* What a printer said of itself. */
struct wp_printer_words {
    int state; /* 3 idle, 4 processing, 5 stopped; 0 not told */
    bool accepting;
    char reasons[WP_REASONS_MOST]; /* "media-empty-error,paused"; "" and "none": nothing */
};

/* `*text` gets what it lacks, to go after a name: "has no paper", "has stopped"; "" when ready. */
enum wp_health wp_health_judge(const struct wp_printer_words *words, const char **text);

/* True if the printer has stopped, so that no page can be on its way: not media-empty, which says
 * only that a tray is empty behind the page, nor media-needed, which some printers say while they
 * are still at work on the last one (seen with a real peer). */
bool wp_printer_stands(const struct wp_printer_words *words);

/* Job states of RFC 8011 section 5.3.7. */
enum wp_job_state {
    WP_JOB_UNKNOWN = 0,
    WP_JOB_PENDING = 3,
    WP_JOB_HELD = 4,
    WP_JOB_PROCESSING = 5,
    WP_JOB_STOPPED = 6,
    WP_JOB_CANCELED = 7,
    WP_JOB_ABORTED = 8,
    WP_JOB_COMPLETED = 9
};

/* What a printer said of one job. */
struct wp_job_words {
    enum wp_job_state state;
    int impressions; /* completed; -1: not told */
    char reasons[WP_REASONS_MOST];
};

enum wp_job_verdict {
    WP_JOB_GOES_ON,     /* it will come out, or waits for something */
    WP_JOB_CAME_OUT,    /* completed */
    WP_JOB_CAME_TO_NIL, /* cancelled or aborted, and no page came out */
    WP_JOB_HALFWAY, /* cancelled or aborted after a page came out, or the state makes no sense */
    WP_JOB_NO_SHEET /* the job is there, the sheet never reached it */
};
/* `sheet_sent`: the printer is known to have the whole sheet. */
enum wp_job_verdict wp_job_judge(const struct wp_job_words *words, bool sheet_sent);

/* After a crash, a printer without Create-Job listed its jobs and none has our name. May the sheet
 * be sent again? Only if the list provably reaches back before the sending: the printer has not
 * been restarted since, and still lists a finished job older than it (how long a printer keeps
 * finished jobs is its own affair, and may be no time at all: RFC 8011 section 5.3.7.1). Times in
 * seconds. */
struct wp_job_list {
    bool complete;    /* open and finished jobs were both listed, to the end */
    int64_t up_time;  /* printer-up-time, 0: not told */
    int64_t oldest;   /* smallest time-at-creation among finished jobs, 0: none */
    int64_t sent_ago; /* how long ago the sending began */
};
bool wp_job_surely_absent(const struct wp_job_list *list);

#endif
