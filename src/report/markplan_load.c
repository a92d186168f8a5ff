/* The marking plan among the settings of a register. */
#include "lugmark/markplan.h"

#include <stdio.h>
#include <string.h>

#include "lugmark/store.h"

static const char *setting_of(enum lm_plan_key key, char out[64])
{
    snprintf(out, 64, "mark-plan.%s", lm_plan_key_name(key));
    return out;
}

enum lm_err lm_markplan_load(struct lm_store *store, struct lm_markplan *plan)
{
    char name[64], value[LM_PLAN_VALUE_MAX + 1];
    enum lm_err err = LM_OK;
    memset(plan, 0, sizeof *plan);
    for (int i = 0; i < LM_PLAN_KEYS && err == LM_OK; i++) {
        enum lm_plan_key key = (enum lm_plan_key) i;
        err = lm_store_setting(store, setting_of(key, name), value, sizeof value);
        if (err == LM_OK)
            lm_markplan_set(plan, key, value, NULL);
    }
    return err;
}

enum lm_err lm_markplan_keep(
    struct lm_store *store, const struct lm_markplan *plan, enum lm_plan_key key)
{
    char name[64];
    return lm_store_set(store, setting_of(key, name), plan->values[key]);
}
