/* entry.h - one entry and its hash. */
#ifndef LEDGER_ENTRY_H
#define LEDGER_ENTRY_H

#include "ledger/ledger.h"

struct ledger_entry {
    int64_t number;
    int64_t at_us;
    int64_t actor;
    int64_t actor_id;
    const char *verb;
    const char *subject;
    const void *detail; /* its digest; NULL: none */
    size_t detail_size;
};

enum wp_status ledger_hash(const unsigned char before[WP_LEDGER_HASH],
                           const struct ledger_entry *entry, unsigned char hash[WP_LEDGER_HASH]);

#endif
