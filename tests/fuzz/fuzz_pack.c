/* Any bytes as a rule pack: refused with a reason, or every rule of it judges an animal and a lot
 * without holding one that it may not hold. */
#include "fuzz_help.h"

#include "lugmark/rulepack.h"

static struct lm_record goat(void)
{
    struct lm_record rec = {.key = "A17", .species = "goat", .breed = "none", .sex = LM_SEX_MALE};
    rec.born = (struct lm_date){2026, 3, 2};
    rec.n_devices = 2;
    snprintf(rec.devices[0].visual, sizeof rec.devices[0].visual, "UK123456700123");
    rec.devices[0].official = true;
    MUST(lm_eid_make(840, 3123456789, &rec.devices[1].eid) == LM_OK);
    rec.devices[1].official = true;
    rec.devices[1].applied = (struct lm_date){2026, 4, 0};
    return rec;
}

static void judge(const struct lm_rule_pack *pack)
{
    const struct lm_record rec = goat();
    const struct lm_rule_context ctx = {.date = {2026, 11, 2}, .animals = 1};
    for (size_t i = 0; i < pack->n_rules; i++) {
        for (int lot = 0; lot < 2; lot++) {
            struct lm_rule_result out;
            const struct lm_rule_animal animal = {.rec = lot != 0 ? NULL : &rec};
            enum lm_outcome o = lm_rule_check(pack, &pack->rules[i], &animal, &ctx, &out);
            MUST(o == out.outcome && memchr(out.words, '\0', sizeof out.words) != NULL);
            MUST(out.attention != LM_HOLD || pack->rules[i].evidence == LM_EVIDENCE_READ ||
                 pack->rules[i].evidence == LM_EVIDENCE_OWN);
        }
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct lm_rulepack *pack = NULL;
    struct lm_problem p = {.err = LM_OK};
    enum lm_err err = lm_rulepack_parse((const char *) data, size, "pack", &pack, &p);
    MUST(err == LM_OK || (err == LM_EINPUT && p.what[0] != '\0'));
    if (err == LM_OK) {
        judge(lm_rulepack_rules(pack));
        lm_rulepack_free(pack);
    }
    return 0;
}
