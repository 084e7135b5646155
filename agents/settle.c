#include "settle.h"

bool wp_look_same(const struct wp_look *a, const struct wp_look *b)
{
    return a->size == b->size && a->mtime_ns == b->mtime_ns && a->ctime_ns == b->ctime_ns &&
           a->inode == b->inode;
}

enum wp_settled wp_settle_see(struct wp_settle *settle, const struct wp_settle_rule *rule,
                              const struct wp_look *look, int64_t now_us, int64_t *due_us)
{
    if (!settle->begun || !wp_look_same(&settle->last, look))
        *settle = (struct wp_settle){.last = *look, .since_us = now_us, .begun = true};
    int64_t quiet = look->size ? rule->quiet_us : rule->empty_us;
    int64_t early = look->size ? rule->early_us : 0;
    int64_t still = now_us - settle->since_us;
    *due_us = settle->since_us + quiet;
    if (still >= quiet)
        return WP_SETTLED;
    if (!early || early >= quiet || settle->tried_early)
        return WP_SETTLING;
    if (still < early) {
        *due_us = settle->since_us + early;
        return WP_SETTLING;
    }
    settle->tried_early = true;
    return WP_SETTLE_EARLY;
}
