/* Whether the parentage in the register can be, after a change and before it is kept. */
#include "kin.h"

#include <string.h>

#include "open_db.h"
#include "problem.h"
#include "report/tongue.h"

static bool say(struct lm_problem *p, bool refused, const char *mend, const char *what)
{
    lm_problem_set(p, LM_EINPUT, mend, "%s", what);
    return refused;
}

bool lm_kin_words(const struct lm_family_problem *problem, struct lm_problem *p)
{
    char what[LM_PROBLEM_TEXT_MAX], kid[LM_DATE_TEXT_SIZE], parent[LM_DATE_TEXT_SIZE];
    lm_date_format(problem->born, kid);
    lm_date_format(problem->parent_born, parent);
    switch (problem->fault) {
    case LM_FAMILY_OWN_PARENT:
        snprintf(what, sizeof what, _("animal %s would be its own forebear"), problem->animal);
        return say(p, true, _("correct the dam or the sire of one in that line"), what);
    case LM_FAMILY_YOUNGER_PARENT:
        snprintf(what, sizeof what, _("animal %s, born %s, cannot be of %s, born %s"),
            problem->animal, kid, problem->parent, parent);
        return say(p, true, _("correct the parent or a date of birth"), what);
    case LM_FAMILY_DAM_TOO_YOUNG:
        snprintf(what, sizeof what,
            _("%s was not five months old, the carrying time alone, when %s was born"),
            problem->parent, problem->animal);
        return say(p, false, _("look at both dates of birth"), what);
    case LM_FAMILY_DAM_MALE:
        snprintf(what, sizeof what, _("%s, the dam of %s, is entered as a male"), problem->parent,
            problem->animal);
        return say(p, false, _("correct the dam or the sex"), what);
    case LM_FAMILY_SIRE_FEMALE:
        snprintf(what, sizeof what, _("%s, the sire of %s, is entered as a female"),
            problem->parent, problem->animal);
        return say(p, false, _("correct the sire or the sex"), what);
    }
    return false;
}

struct one {
    struct lm_family *family;
    const char *key;
    unsigned refused;
};

static enum lm_err take(const struct lm_record *rec, long line, void *ctx)
{
    struct one *one = ctx;
    (void) line;
    return lm_family_add(one->family, rec, strcmp(rec->key, one->key) == 0);
}

static void tell(const struct lm_family_problem *problem, void *ctx)
{
    struct one *one = ctx;
    struct lm_problem p = {0};
    if (lm_kin_words(problem, &p)) {
        one->refused++;
        lm_problem_print(&p);
    } else {
        fprintf(stderr, _("lugmark: note: %s\n"), p.what);
    }
}

int lm_kin_check(struct lm_store *store, const char *key)
{
    struct one one = {.family = lm_family_new(), .key = key};
    enum lm_err err = LM_ENOMEM;
    if (one.family != NULL)
        err = lm_store_each(store, take, &one);
    bool read = one.family != NULL && err == LM_OK;
    if (read)
        err = lm_family_check(one.family, tell, &one);
    lm_family_free(one.family);
    if (err == LM_ENOMEM)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    if (err != LM_OK)
        return lm_db_fail(store);
    return one.refused > 0 ? LM_EXIT_INPUT : LM_EXIT_OK;
}
