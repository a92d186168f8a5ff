/* Any bytes as a marking plan, a value a line in the order of the keys: refused with a reason, or
 * kept in a register and read back the same; and what an animal should wear is said of any. */
#include "fuzz_help.h"

#include "lugmark/markplan.h"

static void ask(const struct lm_markplan *plan, const char *last)
{
    char out[LM_PLAN_TEXT_MAX];
    for (int16_t year = 1999; year < 2032; year++) {
        const struct lm_mark_for whom = {.born = {.year = year},
            .sex = (year & 1) != 0 ? LM_SEX_FEMALE : LM_SEX_MALE,
            .breed = last};
        struct lm_mark mark = lm_markplan_for(plan, &whom);
        MUST(strlen(lm_mark_words(&mark, out)) < sizeof out);
        lm_plan_number_fits(mark.number, last);
        const struct lm_mark_worn worn = {.visual = last, .colour = "yellow"};
        bool differs = lm_markplan_differs(plan, &whom, &worn, 1, out);
        MUST(differs == (out[0] != '\0') && strlen(out) < sizeof out);
    }
}

static void keep(const struct lm_markplan *plan)
{
    struct lm_markplan back;
    struct fuzz_store f = fuzz_store_new("plan");
    for (unsigned k = 0; k < LM_PLAN_KEYS; k++)
        MUST(lm_markplan_keep(f.s, plan, (enum lm_plan_key) k) == LM_OK);
    MUST(lm_markplan_load(f.s, &back) == LM_OK);
    for (unsigned k = 0; k < LM_PLAN_KEYS; k++)
        MUST(strcmp(back.values[k], plan->values[k]) == 0);
    fuzz_store_end(&f);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static struct lm_markplan plan;
    char value[2 * LM_PLAN_VALUE_MAX];
    size_t at = 0;
    memset(&plan, 0, sizeof plan);
    for (unsigned k = 0; k < LM_PLAN_KEYS && at < size; k++) {
        const uint8_t *end = memchr(data + at, '\n', size - at);
        size_t len = end != NULL ? (size_t) (end - data) - at : size - at;
        size_t kept = len < sizeof value - 1 ? len : sizeof value - 1;
        memcpy(value, data + at, kept);
        value[kept] = '\0';
        struct lm_problem p = {.err = LM_OK};
        enum lm_err err = lm_markplan_set(&plan, (enum lm_plan_key) k, value, &p);
        MUST(err == LM_OK || (err == LM_EINPUT && p.what[0] != '\0' && p.mend[0] != '\0'));
        at += len + 1;
    }
    value[LM_VISUAL_MAX] = '\0';
    ask(&plan, size > 0 ? value : "");
    if (!lm_markplan_empty(&plan) && (size & 7u) == 0)
        keep(&plan);
    return 0;
}
