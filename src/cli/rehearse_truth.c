/* The truth of a rehearsal as a file, for tests that compare it with what was found. */
#include "rehearse_plan.h"

#include <jansson.h>

static json_t *planted_json(const struct lm_planted *planted, const struct lm_roll *roll)
{
    char code[LM_EID_TEXT_SIZE];
    json_t *o = json_object();
    json_object_set_new(o, "fault",
        json_string(planted->fault < LM_FAULTS ? lm_fault_name(planted->fault) : "register"));
    json_object_set_new(o, "kind", json_string(lm_kind_name(lm_reason_kind(planted->reason))));
    json_object_set_new(o, "reason", json_string(lm_reason_name(planted->reason)));
    json_object_set_new(o, "animal",
        planted->animal == LM_NO_ANIMAL ? json_null()
                                        : json_string(lm_roll_animal(roll, planted->animal).key));
    json_object_set_new(o, "eid",
        planted->eid.known ? json_string(lm_eid_format(planted->eid, code)) : json_null());
    return o;
}

enum lm_err lm_plan_write(
    FILE *out, const struct lm_plan *plan, const struct lm_roll *roll, uint64_t seed)
{
    json_t *faults = json_array();
    for (size_t i = 0; i < plan->n_planted; i++)
        json_array_append_new(faults, planted_json(&plan->planted[i], roll));
    json_t *root = json_pack("{s:s,s:I,s:i,s:o}", "schema", "lugmark.truth/1", "seed",
        (json_int_t) seed, "heads", (int) plan->heads, "faults", faults);
    int failed = !root || json_dumpf(root, out, JSON_INDENT(1)) != 0 || fputc('\n', out) == EOF;
    json_decref(root);
    return failed ? LM_EIO : LM_OK;
}
