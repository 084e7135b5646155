/* What a printer's own words mean for a sheet. */
#include "health.h"

#include <string.h>

struct meaning {
    const char *keyword;
    const char *text;
    bool paper; /* one tray of several may lack paper: only doubtful unless it is an error */
};

static const struct meaning meanings[] = {
    {"media-empty", "has no paper", true},
    {"media-needed", "has no paper", true},
    {"media-jam", "has a paper jam", false},
    {"door-open", "has a door open", false},
    {"cover-open", "has its cover open", false},
    {"interlock-open", "has a cover open", false},
    {"toner-empty", "has no toner", false},
    {"marker-supply-empty", "has no ink or toner", false},
    {"output-area-full", "has its output tray full", false},
    {"output-tray-missing", "has its output tray missing", false},
    {"input-tray-missing", "has a paper tray missing", true},
    {"moving-to-paused", "is being paused at the printer", false},
    {"paused", "is paused at the printer", false},
    {"shutdown", "is switched off", false},
    {"stopping", "is stopping", false},
    {"timed-out", "does not answer its queue", false},
    {"connecting-to-device", "is not reached by its queue", false},
    {"spool-area-full", "has its memory full", false},
    {"fuser-over-temp", "is too hot", false},
    {"developer-empty", "needs service", false},
    {"opc-life-over", "needs service", false},
    {"marker-waste-full", "has its waste toner box full", false},
};

enum severity { REPORT, UNSAID, ERROR };

/* Cuts a severity ending off `*size`. */
static enum severity take_severity(const char *word, size_t *size)
{
    static const struct {
        const char *ending;
        enum severity severity;
    } endings[] = {{"-report", REPORT}, {"-warning", REPORT}, {"-error", ERROR}};
    for (size_t i = 0; i < sizeof endings / sizeof *endings; i++) {
        size_t length = strlen(endings[i].ending);
        if (*size > length && memcmp(word + *size - length, endings[i].ending, length) == 0) {
            *size -= length;
            return endings[i].severity;
        }
    }
    return UNSAID;
}

static const struct meaning *find_meaning(const char *word, size_t size)
{
    for (size_t i = 0; i < sizeof meanings / sizeof *meanings; i++)
        if (strlen(meanings[i].keyword) == size && memcmp(meanings[i].keyword, word, size) == 0)
            return &meanings[i];
    return NULL;
}

static enum wp_health judge_word(const char *word, size_t size, bool stopped, const char **text)
{
    enum severity severity = take_severity(word, &size);
    const struct meaning *meaning = find_meaning(word, size);
    *text = meaning != NULL ? meaning->text : "reports a fault";
    if (meaning == NULL)
        return severity == ERROR ? WP_HEALTH_BLOCKED : WP_HEALTH_READY;
    if (stopped || severity == ERROR)
        return WP_HEALTH_BLOCKED;
    if (meaning->paper)
        return WP_HEALTH_DOUBTFUL;
    return severity == UNSAID ? WP_HEALTH_BLOCKED : WP_HEALTH_READY;
}

enum wp_health wp_health_judge(const struct wp_printer_words *words, const char **text)
{
    bool stopped = words->state == 5;
    enum wp_health worst = stopped || !words->accepting ? WP_HEALTH_BLOCKED : WP_HEALTH_READY;
    const char *worst_text = NULL;
    enum wp_health worst_word = WP_HEALTH_READY;
    const char *at = words->reasons;
    while (*at != '\0') {
        size_t size = strcspn(at, ",");
        const char *one_text;
        enum wp_health one = judge_word(at, size, stopped, &one_text);
        if (one > worst_word) {
            worst_word = one;
            worst_text = one_text;
        }
        at += size + (at[size] == ',');
    }
    if (worst_word > worst)
        worst = worst_word;
    if (worst == WP_HEALTH_READY)
        worst_text = "";
    else if (worst_text == NULL)
        worst_text = stopped ? "has stopped" : "takes no jobs now";
    *text = worst_text;
    return worst;
}

static bool has_word(const char *words, const char *word)
{
    size_t length = strlen(word);
    for (const char *at = words; *at != '\0';) {
        size_t size = strcspn(at, ",");
        if (size == length && memcmp(at, word, length) == 0)
            return true;
        at += size + (at[size] == ',');
    }
    return false;
}

bool wp_printer_stands(const struct wp_printer_words *words)
{
    return words->state == 5;
}

enum wp_job_verdict wp_job_judge(const struct wp_job_words *words, bool sheet_sent)
{
    switch (words->state) {
    case WP_JOB_PENDING:
    case WP_JOB_HELD:
    case WP_JOB_PROCESSING:
    case WP_JOB_STOPPED:
        break;
    case WP_JOB_COMPLETED:
        return WP_JOB_CAME_OUT;
    case WP_JOB_CANCELED:
    case WP_JOB_ABORTED:
        return words->impressions > 0 ? WP_JOB_HALFWAY : WP_JOB_CAME_TO_NIL;
    case WP_JOB_UNKNOWN:
    default:
        return WP_JOB_HALFWAY;
    }
    bool incoming = has_word(words->reasons, "job-incoming") ||
                    has_word(words->reasons, "job-data-insufficient");
    if (!sheet_sent && (incoming || words->state == WP_JOB_HELD))
        return WP_JOB_NO_SHEET;
    return WP_JOB_GOES_ON;
}

bool wp_job_surely_absent(const struct wp_job_list *list)
{
    enum { SLACK = 5 }; /* seconds between two clocks that both tick whole seconds, and delays */
    if (!list->complete || list->up_time <= 0 || list->oldest <= 0)
        return false;
    int64_t sent_at = list->up_time - list->sent_ago;
    return sent_at > SLACK && list->oldest < sent_at - SLACK;
}
