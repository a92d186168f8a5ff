#include "rehearse_check.h"

#include <stdlib.h>
#include <string.h>

static bool has_text(const json_t *array, const char *text)
{
    size_t i;
    json_t *value;
    json_array_foreach(array, i, value)
    {
        if (json_is_string(value) && strcmp(json_string_value(value), text) == 0)
            return true;
    }
    return false;
}

static bool is_finding_of(
    const json_t *finding, const struct lm_planted *planted, const struct lm_roll *roll)
{
    const char *reason = json_string_value(json_object_get(finding, "reason"));
    const char *animal = json_string_value(json_object_get(finding, "animal"));
    if (!reason || strcmp(reason, lm_reason_name(planted->reason)) != 0)
        return false;
    if (planted->animal != LM_NO_ANIMAL)
        return animal && strcmp(animal, lm_roll_animal(roll, planted->animal).key) == 0;
    char code[LM_EID_TEXT_SIZE];
    return !animal && has_text(json_object_get(finding, "eid"), lm_eid_format(planted->eid, code));
}

static const char *who(const struct lm_planted *planted, const struct lm_roll *roll, char *code)
{
    return planted->animal != LM_NO_ANIMAL ? lm_roll_animal(roll, planted->animal).key
                                           : lm_eid_format(planted->eid, code);
}

static void say_surplus(FILE *out, const json_t *finding)
{
    const char *reason = json_string_value(json_object_get(finding, "reason"));
    const char *animal = json_string_value(json_object_get(finding, "animal"));
    const char *code = json_string_value(json_array_get(json_object_get(finding, "eid"), 0));
    fprintf(out, "  NOT PLANTED  %-24s %s\n", reason ? reason : "?",
        animal ? animal : (code ? code : "?"));
}

unsigned lm_rehearse_check(
    FILE *out, const struct lm_plan *plan, const struct lm_roll *roll, const json_t *findings)
{
    const json_t *list = json_object_get(findings, "findings");
    size_t n = json_array_size(list);
    bool *used = calloc(n ? n : 1, sizeof *used);
    unsigned wrong = 0, found = 0, surplus = 0;
    if (!used)
        return 1;
    fputs("\nPlanted faults, and whether they were found:\n", out);
    for (size_t i = 0; i < plan->n_planted; i++) {
        const struct lm_planted *planted = &plan->planted[i];
        char code[LM_EID_TEXT_SIZE];
        size_t k = 0;
        while (k < n && (used[k] || !is_finding_of(json_array_get(list, k), planted, roll)))
            k++;
        if (k < n) {
            used[k] = true;
            found++;
        } else {
            wrong++;
        }
        fprintf(out, "  %-11s  %-24s %s\n", k < n ? "found" : "NOT FOUND",
            lm_reason_name(planted->reason), who(planted, roll, code));
    }
    for (size_t k = 0; k < n; k++) {
        if (!used[k]) {
            say_surplus(out, json_array_get(list, k));
            surplus++;
        }
    }
    free(used);
    fprintf(out, "%u of %zu planted faults found, %u findings that nobody planted\n", found,
        plan->n_planted, surplus);
    return wrong + surplus;
}
