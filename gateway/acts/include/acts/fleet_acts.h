/* acts/fleet_acts.h - instruments, joining, heartbeats and events of agents, enrolled benches.
 *
 * All are wp_act_fn: see people/ask.h. Inputs and answers are those of schema/openapi.yaml and
 * schema/wire/agent.md.
 */
#ifndef ACTS_FLEET_ACTS_H
#define ACTS_FLEET_ACTS_H

#include "base/clock.h"
#include "people/ask.h"

#define WP_JOIN_LIFE (7 * WP_DAY)
#define WP_HEARTBEAT_S 30

#define WP_ACT(name)                                                                               \
    enum wp_status name(struct wp_txn *txn, const struct wp_ask *ask, cJSON **out,                 \
                        struct wp_error *error)

WP_ACT(wp_act_instrument_add);     /* body: name, place, ...; answers instrument and join string */
WP_ACT(wp_act_instrument_picture); /* parameter 0; body: picture (base64), "" takes it away */
WP_ACT(wp_act_instrument_change);  /* parameter 0 */
WP_ACT(wp_act_join_code);          /* parameter 0: a new join string for an agent */
WP_ACT(wp_act_bench_code);         /* parameter 0: a code that enrols a bench device */
WP_ACT(wp_act_bench_enrol);        /* body: code; answers bench_token */
WP_ACT(wp_act_agent_join);         /* WP_CONFLICT: the code is too old */
WP_ACT(wp_act_agent_revoke);       /* parameter 0 */
WP_ACT(wp_act_agent_heartbeat);
WP_ACT(wp_act_agent_events);
WP_ACT(wp_act_instrument_pause); /* parameter 0, body: minutes; "not teaching" */

#endif
