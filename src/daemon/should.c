/** @file should.c
 * What an animal should wear by the holding's marking plan.
 */
#include "should.h"

static void differs(const struct fold *f, uint32_t animal, char text[LM_PLAN_TEXT_MAX])
{
    struct lm_mark_worn worn[LM_DEVICES_MAX];
    struct lm_roll_animal a = lm_roll_animal(f->roll, animal);
    struct lm_mark_for whom = {a.born, (enum lm_sex) a.sex, a.breed};
    size_t n = 0;
    for (uint32_t k = 0; k < a.n_devices && n < LM_DEVICES_MAX; k++) {
        struct lm_roll_device d = lm_roll_device(f->roll, animal, k);
        if (!d.gone) {
            worn[n++] = (struct lm_mark_worn){d.visual, d.colour, d.form, d.place, d.official};
        }
    }
    lm_markplan_differs(&f->plan, &whom, worn, n, text);
}

const char *should_text(const struct fold *f, const char *key, char text[LM_PLAN_TEXT_MAX])
{
    uint32_t animal = key != NULL && !f->no_plan ? lm_roll_by_key(f->roll, key) : LM_NO_ANIMAL;
    text[0] = '\0';
    if (animal != LM_NO_ANIMAL) {
        differs(f, animal, text);
    }
    return text;
}

json_t *should_add(json_t *out, const struct fold *f)
{
    char text[LM_PLAN_TEXT_MAX];
    const char *key = json_string_value(json_object_get(out, "animal"));
    if (json_object_get(out, "animal") == NULL) {
        return out;
    }
    json_object_set_new(out, "should", json_string(should_text(f, key, text)));
    return out;
}
