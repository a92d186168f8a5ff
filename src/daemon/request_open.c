#include "request.h"

#include "daemon.h"
#include "verdict_json.h"
#include <stdlib.h>
#include <string.h>

/* "the mobs are does, kids": what a person may have meant. */
static void mend_mob(const struct lm_roll *roll, char *out, size_t size)
{
    const char *named[8];
    size_t n = 0, at = (size_t) snprintf(out, size, "the mobs are");
    for (uint32_t i = 0; i < lm_roll_animals(roll) && n < 8; i++) {
        struct lm_roll_animal a = lm_roll_animal(roll, i);
        bool fresh = a.mob[0] != '\0' && a.status == LM_ON_FARM;
        for (size_t k = 0; fresh && k < n; k++) {
            fresh = strcmp(named[k], a.mob) != 0;
        }
        if (fresh && at < size) {
            at += (size_t) snprintf(out + at, size - at, "%s %s", n > 0 ? "," : "", a.mob);
            named[n++] = a.mob;
        }
    }
    if (n == 0) {
        snprintf(out, size, "no animal has a mob: leave --mob out");
    }
}

static bool mob_exists(const struct lm_roll *roll, const char *mob)
{
    uint32_t n = lm_roll_animals(roll);
    for (uint32_t i = 0; i < n; i++) {
        if (strcmp(lm_roll_animal(roll, i).mob, mob) == 0) {
            return true;
        }
    }
    return n == 0; /* an empty register cannot tell a slip of the pen from a mob to come */
}

/* The first animal of the lot that the register does not know, or NULL. */
static const char *unknown_key(const struct lm_roll *roll, const struct lm_open *open)
{
    for (size_t i = 0; open->keys != NULL && i < open->n_keys; i++) {
        if (lm_roll_by_key(roll, open->keys[i]) == LM_NO_ANIMAL) {
            return open->keys[i];
        }
    }
    return NULL;
}

static void judge_open(struct request *r, const struct lm_open *open, struct lm_problem *bad)
{
    const struct fold *f = &r->d->fold;
    char mend[LM_PROBLEM_TEXT_MAX];
    if (f->session != NULL) {
        lm_problem_set(bad, LM_EARG, "end it first: lugmark close", "session %lld is open already",
            (long long) f->row.id);
    } else if (open->mob[0] != '\0' && open->keys != NULL) {
        lm_problem_set(
            bad, LM_EARG, "give one of the two", "a session has a mob or a lot, not both");
    } else if ((open->lot[0] != '\0') != (open->keys != NULL)) {
        lm_problem_set(bad, LM_EARG, "send \"lot\":\"NAME\" and \"animals\":[...] together",
            "a lot needs its name and its animals");
    } else if (open->mob[0] != '\0' && !mob_exists(f->roll, open->mob)) {
        mend_mob(f->roll, mend, sizeof mend);
        lm_problem_set(bad, LM_EARG, mend, "no animal is in a mob called %s", open->mob);
    } else if (unknown_key(f->roll, open) != NULL) {
        lm_problem_set(bad, LM_EARG, "add it to the register, or take it out of the lot",
            "animal %.63s of the lot is not in the register", unknown_key(f->roll, open));
    }
}

/* The keys of a lot, borrowed from the request. @return false after answering. */
static bool take_keys(struct request *r, struct lm_open *open, const char ***keys)
{
    const json_t *animals = json_object_get(r->body, "animals");
    struct lm_problem p = {.err = LM_OK};
    size_t n = json_array_size(animals);
    if (animals == NULL || json_is_null(animals)) {
        return true;
    }
    if (!json_is_array(animals) || n == 0) {
        lm_problem_set(&p, LM_EARG, "send \"animals\":[\"A1\",\"A2\"]",
            "\"animals\" is no list with at least one animal");
    } else if ((*keys = malloc(n * sizeof **keys)) == NULL) {
        lm_problem_set(&p, LM_ENOMEM, NULL, "out of memory");
    }
    for (size_t i = 0; *keys != NULL && p.err == LM_OK && i < n; i++) {
        const json_t *key = json_array_get(animals, i);
        (*keys)[i] = json_string_value(key);
        if ((*keys)[i] == NULL || !lm_text_clean((*keys)[i], json_string_length(key))) {
            lm_problem_set(&p, LM_EARG, "give each animal's key as text",
                "animal %zu of the lot is no clean text", i + 1);
        }
    }
    if (p.err != LM_OK) {
        request_fail(r, &p);
        return false;
    }
    open->keys = *keys;
    open->n_keys = n;
    return true;
}

static bool take_kind(struct request *r, struct lm_open *open)
{
    char word[LM_NAME_MAX + 1];
    struct lm_problem p = {.err = LM_OK};
    if (!request_text(r, "kind", word, sizeof word)) {
        return false;
    }
    if (lm_session_kind_parse(word, &open->kind) == LM_OK && word[0] != '\0') {
        return true;
    }
    lm_problem_set(&p, LM_EARG, "choose from walk, count, sale", "a session needs its kind");
    request_fail(r, &p);
    return false;
}

static bool take_open(struct request *r, struct lm_open *open, const char ***keys)
{
    return take_kind(r, open) && request_text(r, "mob", open->mob, sizeof open->mob) &&
           request_text(r, "lot", open->lot, sizeof open->lot) &&
           request_text(r, "count", open->count, sizeof open->count) &&
           request_text(r, "who", open->who, sizeof open->who) && take_keys(r, open, keys);
}

static void open_session(struct request *r, struct lm_open *open)
{
    struct lm_event ev = {.kind = LM_EVENT_OPEN, .open = open};
    struct lm_problem bad = {.err = LM_OK};
    struct lm_verdict verdict;
    struct fold *f = &r->d->fold;
    if (!request_ready(r)) {
        return;
    }
    config_session_settings(r->d->config, open->settings);
    judge_open(r, open, &bad);
    if (bad.err == LM_OK && fold_prepare_open(f) != LM_OK) {
        lm_problem_set(&bad, LM_ENOMEM, "end other programs", "out of memory for a session");
    }
    if (request_submit(r, &ev, &bad, &verdict) == REQUEST_DONE) {
        request_ok(
            r, json_pack("{s:I, s:o, s:I}", "seq", (json_int_t) ev.seq, "session",
                   session_json(&f->row), "expected", (json_int_t) lm_roll_expected(f->roll)));
    }
}

void request_open(struct request *r)
{
    struct lm_open open = {.kind = LM_WALK};
    const char **keys = NULL;
    if (take_open(r, &open, &keys)) {
        open_session(r, &open);
    }
    free(keys);
}
