/** @file lanes.h
 * What came through each lane in the open session: a lane whose antenna is dead shows at once
 * beside one that works.
 */
#ifndef LUGMARK_DAEMON_LANES_H
#define LUGMARK_DAEMON_LANES_H

#include "config.h"
#include <jansson.h>

struct lane_tally {
    char lane[LM_NAME_MAX + 1];
    uint64_t readings; /**< of all its readers together, repeats too */
    uint64_t passes;   /**< begun in this lane */
};

struct lanes {
    struct lane_tally all[CONFIG_LANES + CONFIG_READERS];
    size_t n;
    size_t last; /**< whose reading came last */
};

/** Count an event that was applied. Anything but a reading changes nothing. */
void lanes_note(struct lanes *lanes, const struct lm_event *ev, const struct lm_verdict *verdict);

/** The configured lanes, also those where nothing came, then any others. NULL without memory. */
json_t *lanes_tally_json(const struct lanes *lanes, const struct config *config);

#endif
