/** @file findings_priv.h
 * Deriving findings: what the parts of it share.
 */
#ifndef LM_RACE_FINDINGS_PRIV_H
#define LM_RACE_FINDINGS_PRIV_H

#include "race/session_priv.h"

struct lm_findings_run {
    const struct lm_session *s;
    struct lm_summary *sum;
    lm_finding_fn *fn;
    void *ctx;
};

/** Count a finding, give it its attention, hand it out. */
void lm_findings_emit(struct lm_findings_run *run, struct lm_finding f);

/** Codes and numbers that the register gives to two living animals, where one of them matters here.
 */
void lm_findings_shared(struct lm_findings_run *run);

/** How often the number of sighting @p i was called; 0 when an earlier sighting speaks for it. */
uint32_t lm_findings_number_times(const struct lm_session *s, uint32_t i);

/** The code of a conflicting call's pass, and the animal whose pass that was. */
struct lm_eid lm_findings_conflict_code(const struct sighting *call, uint32_t *animal);

/** The code of the removed device whose number was called, or none. */
struct lm_eid lm_findings_removed_code(const struct lm_session *s, const struct sighting *call);

bool lm_findings_wears_code(const struct lm_session *s, uint32_t animal);

#endif
