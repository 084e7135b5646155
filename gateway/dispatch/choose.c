/* Which printer a sheet goes to. */
#include "choose.h"

#include <stdio.h>
#include <string.h>
#include <strings.h>

/* Why a printer is not used now; NULL if it may be. */
static const char *why_not(const struct wp_choice_printer *printer)
{
    if (printer->mode != WP_PRINTER_ON)
        return "is taken out of use by staff";
    if (printer->health == WP_HEALTH_BLOCKED ||
        (printer->health == WP_HEALTH_DOUBTFUL && printer->distrusted))
        return printer->lacks;
    if (printer->jobs > printer->behind_most)
        return "has a long queue";
    return NULL;
}

static bool unasked(const struct wp_choice_printer *printer, int64_t wanted)
{
    return printer->candidate.id == wanted || wp_candidate_unasked(&printer->candidate);
}

/* The best printer that is ready, or, if none is, one that is only doubtful. */
static const struct wp_choice_printer *best(const struct wp_choice_printer *printers, size_t count,
                                            int64_t wanted, int64_t without, bool with_asking)
{
    const struct wp_choice_printer *doubtful = NULL;
    for (size_t i = 0; i < count; i++) {
        const struct wp_choice_printer *one = &printers[i];
        if (one->candidate.id == without || why_not(one) != NULL ||
            one->health == WP_HEALTH_UNKNOWN || unasked(one, wanted) == with_asking)
            continue;
        if (one->health == WP_HEALTH_READY)
            return one;
        if (doubtful == NULL)
            doubtful = one;
    }
    return doubtful;
}

/* The first printer that would come before `found` but has not been asked how it is. */
static const struct wp_choice_printer *first_unknown(const struct wp_choice_printer *printers,
                                                     size_t count,
                                                     const struct wp_choice_printer *found,
                                                     int64_t without)
{
    for (size_t i = 0; i < count && &printers[i] != found; i++)
        if (printers[i].health == WP_HEALTH_UNKNOWN && printers[i].candidate.id != without &&
            why_not(&printers[i]) == NULL)
            return &printers[i];
    return NULL;
}

const char *wp_printer_word(const char *name)
{
    return strncasecmp(name, "printer", 7) != 0 ? "Printer " : "";
}

/* "Printer 214 has no paper. " for the one that should have printed it, if another does. */
static size_t say_trouble(const struct wp_choice_printer *printers, size_t count,
                          const struct wp_choice_printer *found, char text[WP_CHOICE_TEXT])
{
    text[0] = '\0';
    if (count == 0 || found == &printers[0])
        return 0;
    const char *why = why_not(&printers[0]);
    if (why == NULL && printers[0].health == WP_HEALTH_DOUBTFUL)
        why = printers[0].lacks;
    if (why == NULL)
        return 0;
    int used = snprintf(text, WP_CHOICE_TEXT, "%s%s %s. ", wp_printer_word(printers[0].name),
                        printers[0].name, why);
    return used > 0 && used < WP_CHOICE_TEXT ? (size_t)used : 0;
}

static void say_where(const struct wp_choice_printer *found, char *text, size_t room)
{
    if (found->where[0] != '\0')
        snprintf(text, room, "Printing at %s, %s.", found->name, found->where);
    else
        snprintf(text, room, "Printing at %s.", found->name);
}

static void say_question(const struct wp_choice_printer *found, char *text, size_t room)
{
    char place[WP_PLACE_ROOM + 8];
    bool where = found->where[0] != '\0';
    wp_place_words(found->candidate.spot.place, found->candidate.near, place, sizeof place);
    snprintf(text, room, "Print in %s%s%s, or inbox only?", place, where ? ", " : "",
             where ? found->where : "");
}

/* All that stands in the way, as far as the room goes. */
static void say_waiting(const struct wp_choice_printer *printers, size_t count,
                        struct wp_choice *choice)
{
    static const char end[] = " The sheet waits.";
    size_t room = sizeof choice->text - sizeof end;
    size_t used = 0;
    if (count == 0)
        used = (size_t)snprintf(choice->text, sizeof choice->text, "No printer is set up.");
    for (size_t i = 0; i < count && i < 3; i++) {
        const char *why = why_not(&printers[i]);
        int more = snprintf(choice->text + used, room - used, "%s%s%s %s.", used > 0 ? " " : "",
                            wp_printer_word(printers[i].name), printers[i].name,
                            why != NULL ? why : "cannot be used");
        if (more < 0 || (size_t)more >= room - used)
            break;
        used += (size_t)more;
    }
    memcpy(choice->text + used, end, sizeof end);
}

static bool waits_for_wanted(const struct wp_choice_printer *printers, size_t count, int64_t wanted)
{
    return wanted != 0 && count > 0 && printers[0].candidate.id == wanted &&
           printers[0].mode == WP_PRINTER_PAUSED;
}

void wp_choose(const struct wp_choice_printer *printers, size_t count, int64_t wanted,
               int64_t without, struct wp_choice *choice)
{
    memset(choice, 0, sizeof *choice);
    choice->kind = WP_CHOICE_WAIT;
    if (waits_for_wanted(printers, count, wanted)) {
        say_waiting(printers, 1, choice);
        return;
    }
    const struct wp_choice_printer *found = best(printers, count, wanted, without, false);
    bool ask = found == NULL;
    if (ask)
        found = best(printers, count, wanted, without, true);
    const struct wp_choice_printer *unknown = first_unknown(printers, count, found, without);
    if (unknown != NULL) {
        choice->kind = WP_CHOICE_LOOK;
        choice->printer = unknown->candidate.id;
        return;
    }
    if (found == NULL) {
        say_waiting(printers, count, choice);
        return;
    }
    choice->kind = ask ? WP_CHOICE_ASK : WP_CHOICE_SEND;
    choice->printer = found->candidate.id;
    size_t used = say_trouble(printers, count, found, choice->text);
    if (ask)
        say_question(found, choice->text + used, sizeof choice->text - used);
    else
        say_where(found, choice->text + used, sizeof choice->text - used);
}
