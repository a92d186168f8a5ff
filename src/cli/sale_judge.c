/* Every animal of the lot by every rule. */
#include "sale.h"

#include <stdlib.h>
#include <string.h>

#include "lugmark/report.h"
#include "open_db.h"
#include "problem.h"
#include "report/tongue.h"

const char *lm_sale_id(const struct lm_sale_result *result)
{
    return result->rule != NULL ? result->rule->id : lm_reason_name(result->reason);
}

const char *lm_sale_in(const struct lm_speech *speech, const char *english)
{
    return speech != NULL && english[0] != '\0' ? speech->text(english) : english;
}

size_t lm_sale_count(const struct lm_sale *sale, enum lm_attention attention)
{
    size_t n = 0;
    for (size_t i = 0; i < sale->n_animals; i++)
        n += sale->animals[i].attention == attention;
    return n;
}

bool lm_sale_flagged(const struct lm_sale *sale)
{
    return sale->lot_attention != LM_GO || lm_sale_count(sale, LM_GO) != sale->n_animals;
}

static struct lm_sale_result *add_result(struct lm_sale *sale)
{
    if (sale->n_results == sale->room_results) {
        size_t room = sale->room_results > 0 ? 2 * sale->room_results : 256;
        struct lm_sale_result *more = realloc(sale->results, room * sizeof *more);
        if (more == NULL)
            return NULL;
        sale->results = more;
        sale->room_results = room;
    }
    struct lm_sale_result *r = &sale->results[sale->n_results++];
    memset(r, 0, sizeof *r);
    return r;
}

/* What the person decided on a rule, or NULL. */
static const char *decided(const struct lm_sale *sale, const struct lm_rule *rule)
{
    for (size_t i = 0; i < sale->said.n_overrides; i++)
        if (lm_word_is(sale->said.overrides[i].rule, rule->id))
            return sale->said.overrides[i].word;
    return NULL;
}

static enum lm_severity severity_of(const char *word)
{
    return word[0] == 'h' ? LM_SEVERITY_STOP : word[0] == 'l' ? LM_SEVERITY_LOOK : LM_SEVERITY_NOTE;
}

/* One rule. @return Whether there is something to say; false also when out of memory. */
static enum lm_err one_rule(struct lm_sale *sale, const struct lm_rule_pack *pack,
    const struct lm_rule *rule, const struct lm_rule_animal *animal, size_t *passed)
{
    struct lm_rule_result got;
    const char *word = decided(sale, rule);
    if (word != NULL && strcmp(word, "off") == 0)
        return LM_OK;
    lm_rule_check(pack, rule, animal, &sale->said.ctx, &got);
    *passed += got.outcome == LM_OUTCOME_PASS;
    if (got.outcome == LM_OUTCOME_NONE || got.outcome == LM_OUTCOME_PASS)
        return LM_OK;
    struct lm_sale_result *r = add_result(sale);
    if (r == NULL)
        return LM_ENOMEM;
    r->pack = pack;
    r->rule = rule;
    r->outcome = got.outcome;
    r->by_setting = word != NULL;
    r->attention = word == NULL ? got.attention
                                : lm_rule_attention(got.outcome, severity_of(word),
                                      (enum lm_evidence) rule->evidence);
    memcpy(r->words, got.words, sizeof r->words);
    return LM_OK;
}

static enum lm_err all_rules(
    struct lm_sale *sale, const struct lm_rule_animal *animal, size_t *passed)
{
    enum lm_err err = LM_OK;
    for (size_t i = 0; i < sale->n_packs; i++)
        for (size_t k = 0; err == LM_OK && k < sale->rules[i]->n_rules; k++)
            err = one_rule(sale, sale->rules[i], &sale->rules[i]->rules[k], animal, passed);
    return err;
}

/* --- facts of one animal --- */

static bool another_alive(const struct lm_roll *roll, const struct lm_roll_device *hit, uint32_t me)
{
    return hit->animal != me && !hit->gone && hit->official &&
           lm_roll_animal(roll, hit->animal).status == LM_ON_FARM;
}

static enum lm_answer is_shared(const struct lm_roll *roll, uint32_t me)
{
    uint32_t n = lm_roll_animal(roll, me).n_devices;
    for (uint32_t k = 0; k < n; k++) {
        struct lm_roll_device d = lm_roll_device(roll, me, k), hit;
        struct lm_roll_hits it;
        if (d.gone || !d.official)
            continue;
        bool code = d.eid.known != LM_EID_NONE && lm_roll_code_first(roll, d.eid, &it, &hit);
        for (; code; code = lm_roll_code_next(roll, &it, &hit))
            if (another_alive(roll, &hit, me))
                return LM_ANSWER_YES;
        bool number = d.visual[0] != '\0' && lm_roll_visual_first(roll, d.visual, &it, &hit);
        for (; number; number = lm_roll_visual_next(roll, &it, &hit))
            if (another_alive(roll, &hit, me))
                return LM_ANSWER_YES;
    }
    return LM_ANSWER_NO;
}

/* The reason of an animal's first entry; a buy begins it with this word. */
static enum lm_err how_it_came(const struct lm_event *ev, const char *why, void *ctx)
{
    bool *bought = ctx;
    (void) ev;
    *bought = strncmp(why, "bought", strlen("bought")) == 0;
    return LM_EAGAIN; /* the first one is enough */
}

/* As it was said; else elsewhere when it was bought; else here when its dam is in the register. */
static enum lm_answer born_here(const struct lm_sale *sale, const struct lm_record *rec)
{
    bool bought = false;
    if (sale->said.born != LM_ANSWER_UNKNOWN)
        return (enum lm_answer) sale->said.born;
    lm_store_history(sale->store, rec->key, how_it_came, &bought);
    if (bought)
        return LM_ANSWER_NO;
    bool dam = rec->dam[0] != '\0' && lm_roll_by_key(sale->roll, rec->dam) != LM_NO_ANIMAL;
    return dam ? LM_ANSWER_YES : LM_ANSWER_UNKNOWN;
}

/* A mark to show: of an official device, else of any that is worn. */
static void show_marks(struct lm_sale_animal *a, const struct lm_record *rec)
{
    for (int official = 1; official >= 0; official--)
        for (unsigned i = 0; i < rec->n_devices; i++) {
            const struct lm_device *d = &rec->devices[i];
            if (d->gone || d->official != (official == 1))
                continue;
            if (a->number[0] == '\0')
                memcpy(a->number, d->visual, sizeof a->number);
            if (a->code[0] == '\0' && d->eid.known != LM_EID_NONE)
                lm_eid_format(d->eid, a->code);
        }
}

static void describe(
    const struct lm_sale *sale, struct lm_sale_animal *a, const struct lm_record *rec)
{
    memcpy(a->species, rec->species, sizeof a->species);
    a->sex = rec->castrated ? "castrated" : lm_sex_name((enum lm_sex) rec->sex);
    a->age = lm_age_class(rec->born, sale->said.ctx.date);
    show_marks(a, rec);
}

/* --- the race --- */

static void who_came(struct lm_sale *sale, struct lm_sale_animal *a)
{
    a->t_ms = LM_TIME_NONE;
    for (size_t i = 0; i < sale->race.n_came; i++) {
        const struct lm_sale_came *c = &sale->race.came[i];
        if (strcmp(c->key, a->key) != 0)
            continue;
        if (a->place == 0) {
            a->place = i + 1;
            a->t_ms = c->t_ms;
        }
        a->read = a->read || c->read;
    }
}

/* What the rules say themselves, or what this list of animals says better. */
static bool said_elsewhere(enum lm_reason reason)
{
    return reason == LM_NOT_SEEN || reason == LM_NO_READING || reason == LM_OTHER_MOB ||
           reason == LM_OTHER_LOT;
}

static enum lm_err from_the_race(struct lm_sale *sale, const char *key)
{
    for (size_t i = 0; i < sale->race.n_flags; i++) {
        const struct lm_sale_flag *f = &sale->race.flags[i];
        if (strcmp(f->key, key) != 0 || said_elsewhere(f->reason))
            continue;
        struct lm_sale_result *r = add_result(sale);
        if (r == NULL)
            return LM_ENOMEM;
        r->reason = f->reason;
        r->outcome = LM_OUTCOME_FAIL;
        r->attention = f->attention;
        const struct lm_speech *in = sale->said.ctx.speech;
        const char *say = lm_sale_in(in, lm_reason_say(f->reason));
        if (f->what[0] != '\0')
            snprintf(
                r->words, sizeof r->words, lm_sale_in(in, N_("at the race: %s, %s")), say, f->what);
        else
            snprintf(r->words, sizeof r->words, lm_sale_in(in, N_("at the race: %s")), say);
    }
    return LM_OK;
}

/* A code that was nobody's and is an animal's by now is settled. */
static bool settled(const struct lm_sale *sale, const struct lm_sale_flag *f)
{
    for (size_t i = 0; i < sale->race.n_came; i++) {
        const struct lm_sale_came *c = &sale->race.came[i];
        char eid[LM_EID_TEXT_SIZE];
        bool same =
            strcmp(c->called[0] != '\0' ? c->called : lm_eid_format(c->eid, eid), f->what) == 0;
        if (c->key[0] != '\0' && f->what[0] != '\0' && same)
            return true;
    }
    return false;
}

static void drop_settled(struct lm_sale *sale)
{
    size_t kept = 0;
    for (size_t i = 0; i < sale->race.n_flags; i++) {
        const struct lm_sale_flag *f = &sale->race.flags[i];
        if (f->key[0] != '\0' || !settled(sale, f))
            sale->race.flags[kept++] = *f;
    }
    sale->race.n_flags = kept;
}

static enum lm_attention worst(const struct lm_sale *sale, size_t first)
{
    enum lm_attention most = LM_GO;
    for (size_t i = first; i < sale->n_results; i++)
        most = sale->results[i].attention > most ? sale->results[i].attention : most;
    return most;
}

/* --- all of it --- */

static int one_animal(struct lm_sale *sale, struct lm_sale_animal *a, struct lm_record *rec)
{
    uint32_t me = lm_roll_by_key(sale->roll, a->key);
    enum lm_err err = lm_store_get(sale->store, a->key, rec);
    if (err == LM_ENOTFOUND || me == LM_NO_ANIMAL)
        return lm_fail(LM_EXIT_INPUT, "name the lot's animals in a file",
            "%s is no longer in the register", a->key);
    if (err != LM_OK)
        return lm_db_fail(sale->store);
    who_came(sale, a);
    describe(sale, a, rec);
    struct lm_rule_animal asked = {.rec = rec,
        .born_here = (uint8_t) born_here(sale, rec),
        .shared = (uint8_t) is_shared(sale->roll, me),
        .seen = a->place > 0 ? LM_ANSWER_YES : LM_ANSWER_NO,
        .read = a->read ? LM_ANSWER_YES : LM_ANSWER_NO};
    a->first = sale->n_results;
    err = all_rules(sale, &asked, &a->passed);
    if (err == LM_OK)
        err = from_the_race(sale, a->key);
    a->n_results = sale->n_results - a->first;
    a->attention = worst(sale, a->first);
    return err == LM_OK ? LM_EXIT_OK : lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
}

static int the_lot(struct lm_sale *sale)
{
    struct lm_rule_animal nobody = {0};
    size_t passed = 0;
    sale->lot_first = sale->n_results;
    enum lm_err err = all_rules(sale, &nobody, &passed);
    if (err == LM_OK)
        err = from_the_race(sale, "");
    sale->lot_attention = worst(sale, sale->lot_first);
    return err == LM_OK ? LM_EXIT_OK : lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
}

int lm_sale_judge(struct lm_sale *sale)
{
    struct lm_record *rec = malloc(sizeof *rec);
    int exit = LM_EXIT_OK;
    if (rec == NULL)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    drop_settled(sale);
    for (size_t i = 0; exit == LM_EXIT_OK && i < sale->n_animals; i++)
        exit = one_animal(sale, &sale->animals[i], rec);
    free(rec);
    return exit == LM_EXIT_OK ? the_lot(sale) : exit;
}
