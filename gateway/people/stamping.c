#include "people/stamping.h"

/* The turn that was open at `at`: of two that touch, the later. */
static const struct wp_turn_seen *turn_at(const struct wp_evidence *evidence, int64_t at)
{
    for (size_t i = evidence->count; i-- > 0;) {
        const struct wp_turn_seen *turn = &evidence->turns[i];
        if (turn->opened_us <= at && (!turn->closed_us || at < turn->closed_us))
            return turn;
    }
    return NULL;
}

/* The last turn that began before `at`, open or not. */
static const struct wp_turn_seen *turn_before(const struct wp_evidence *evidence, int64_t at)
{
    for (size_t i = evidence->count; i-- > 0;)
        if (evidence->turns[i].opened_us <= at)
            return &evidence->turns[i];
    return NULL;
}

/* A turn that begins less than `span` before `from` or after `to`, or between them, with another
 * turn before it. */
static bool near_change(const struct wp_evidence *evidence, int64_t from, int64_t to, int64_t span)
{
    for (size_t i = 1; i < evidence->count; i++) {
        int64_t opened = evidence->turns[i].opened_us;
        if (opened > from - span && opened < to + span)
            return true;
    }
    return false;
}

static struct wp_ruling nobody(const struct wp_turn_seen *suggestion, bool named, bool ask,
                               const char *reason)
{
    return (struct wp_ruling){.rule = WP_RULE_NOBODY,
                              .suggestion = suggestion ? suggestion->id : 0,
                              .suggest_named = named,
                              .ask = ask,
                              .reason = reason};
}

static int64_t latest(int64_t a, int64_t b)
{
    return a > b ? a : b;
}

/* NULL if the turn may take a spectrum measured at `at` without being asked. */
static const char *doubt(const struct wp_turn_seen *turn, int64_t at, int64_t silence)
{
    bool confirmed = turn->confirmed_us > turn->last_us && turn->confirmed_us <= at;
    if (turn->expected > 0 && turn->seen >= turn->expected && !confirmed)
        return "The turn had the spectra its experiment expects.";
    int64_t alive = latest(latest(turn->opened_us, turn->confirmed_us), turn->last_us);
    if (at - alive > silence)
        return "Nothing had come in this turn for a long time.";
    return NULL;
}

static struct wp_ruling without_turn(const struct wp_evidence *evidence, int64_t at, bool strong)
{
    const struct wp_turn_seen *before = turn_before(evidence, at);
    bool recent = before && before->closed_us && at - before->closed_us < evidence->silence_us;
    const struct wp_turn_seen *open = turn_at(evidence, evidence->export_us);
    if (strong && open)
        return nobody(recent ? before : NULL, evidence->named, true,
                      "Measured before the turn began.");
    if (evidence->named)
        return (struct wp_ruling){.rule = WP_RULE_IDENTITY,
                                  .reason = "The file names one person of the roster."};
    return nobody(recent ? before : NULL, false, true,
                  recent ? "Exported after the turn had ended." : "Nobody was signed on.");
}

struct wp_ruling wp_stamping_rule(const struct wp_evidence *evidence)
{
    if (evidence->clock_unknown)
        return nobody(turn_at(evidence, evidence->export_us), evidence->named, true,
                      WP_REASON_CLOCK);
    bool strong =
        evidence->has_file_time && evidence->file_us <= evidence->export_us + WP_FILE_AHEAD_US;
    int64_t at = strong ? evidence->file_us : evidence->export_us;
    const struct wp_turn_seen *turn = turn_at(evidence, at);
    if (!turn)
        return without_turn(evidence, at, strong);
    if (!strong && near_change(evidence, at, at, evidence->change_us))
        return nobody(turn, evidence->named, true, "Exported too close to a change of turns.");
    int64_t doubtful = evidence->doubt_us ? evidence->doubt_us : WP_CLOCK_DOUBT_US;
    if (strong && near_change(evidence, evidence->file_from_us, at, doubtful))
        return nobody(turn, evidence->named, true, "Measured too close to a change of turns.");
    const char *reason = doubt(turn, at, evidence->silence_us);
    if (reason)
        return nobody(turn, evidence->named && !turn->named_is_in, true, reason);
    if (evidence->named && !turn->named_is_in)
        return nobody(turn, true, true, WP_REASON_NAMED);
    return (struct wp_ruling){.rule = WP_RULE_TURN,
                              .turn = turn->id,
                              .reason = strong ? "The turn open at the time in the file."
                                               : "The turn open at the time of the export."};
}
