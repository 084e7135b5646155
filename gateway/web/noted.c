/* What staff look at and take away is in the ledger before they get it. */
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "base/clock.h"
#include "request.h"

#define STAFF                                                                                      \
    (WP_ROLE_DEMONSTRATOR | WP_ROLE_INSTRUCTOR | WP_ROLE_MARKER | WP_ROLE_TECHNICIAN |             \
     WP_ROLE_ADMINISTRATOR | WP_ROLE_COMMAND)
/* A page that follows a section asks again at every spectrum: that is one look. */
#define ONE_LOOK (10 * WP_MINUTE)

static const char *verb_of(const struct wp_request *request)
{
    return request->route->flags & WP_ROUTE_EXPORT ? "export" : "view";
}

static void subject_of(const struct wp_request *request, char *text, size_t room)
{
    int64_t id = 0;
    const char *kind = request->route->scope == WP_SCOPE_MEASUREMENT ? "measurement"
                       : request->route->scope == WP_SCOPE_SECTION   ? "section"
                                                                     : "object";
    if (wp_ask_param_int(&request->ask, 0, &id))
        (void)snprintf(text, room, "%s:%" PRId64, kind, id);
    else
        (void)snprintf(text, room, "%s:%.64s", kind, request->ask.param[0]);
}

/* FNV-1a (Fowler, Noll and Vo) over who looks at what. */
static uint64_t key_of(const struct wp_request *request, const char *subject)
{
    uint64_t hash = UINT64_C(14695981039346656037) ^ (uint64_t)request->who.id;
    hash *= UINT64_C(1099511628211);
    for (; *subject; subject++)
        hash = (hash ^ (unsigned char)*subject) * UINT64_C(1099511628211);
    return hash;
}

static struct wp_touched *slot_of(const struct wp_request *request, uint64_t *key)
{
    char subject[96];
    subject_of(request, subject, sizeof subject);
    *key = key_of(request, subject);
    return &request->web->looked[*key % WP_TOUCH_SLOTS];
}

bool wp_noted_wanted(const struct wp_request *request)
{
    uint64_t key = 0;
    if (!(request->route->flags & (WP_ROUTE_LOOK | WP_ROUTE_EXPORT)) ||
        !(request->who.roles & STAFF))
        return false;
    const struct wp_touched *slot = slot_of(request, &key);
    return (request->route->flags & WP_ROUTE_EXPORT) || slot->session != key ||
           wp_clock_steady() - slot->at_us >= ONE_LOOK;
}

enum wp_status wp_noted_write(struct wp_txn *txn, void *job)
{
    const struct wp_request *request = job;
    const struct wp_who *who = &request->who;
    char subject[96];
    subject_of(request, subject, sizeof subject);
    return wp_ledger_add(txn, who->actor, who->id, verb_of(request), subject,
                         who->command_name[0] ? who->command_name : NULL, NULL);
}

void wp_noted_done(struct wp_request *request)
{
    uint64_t key = 0;
    struct wp_touched *slot = slot_of(request, &key);
    if (request->route->flags & WP_ROUTE_LOOK)
        *slot = (struct wp_touched){.session = key, .at_us = wp_clock_steady()};
}
