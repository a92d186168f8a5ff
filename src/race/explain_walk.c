/*
 * Who walks beside whom: dam and kid, animals that were beside each other in the session before,
 * and animals of one mob. How much each says is learned from the animals known in this walk.
 */
#include "race/explain_walk.h"

#include <math.h>
#include <stdlib.h>

#define REACH 4u /* so far beside a code a known animal is looked for */

/** Chance that a given animal is within EX_BESIDE places of a given place. */
static double by_chance(const struct ex *x)
{
    return 2.0 * EX_BESIDE / fmax(2.0 * EX_BESIDE, x->s->n_seen);
}

/** Odds of being beside, and of not being beside, from @p near of @p pairs known here. */
static void odds_of(
    double near, double pairs, double chance, double usual, double weight, struct ex_odds *o)
{
    double share = (near + weight * fmin(0.9, usual * chance)) / (pairs + weight);
    share = fmin(share, 0.95);
    o->beside = fmax(1.0, share / fmax(chance, 1e-9));
    o->apart = chance < 0.5 ? fmin(1.0, (1.0 - share) / (1.0 - chance)) : 1.0;
}

static uint32_t dam_of(const struct ex *x, uint32_t animal)
{
    const char *dam = lm_roll_animal(x->roll, animal).dam;
    return dam[0] ? lm_roll_by_key(x->roll, dam) : LM_NO_ANIMAL;
}

static uint32_t seen_of(const struct ex *x, uint32_t animal)
{
    return animal == LM_NO_ANIMAL ? LM_NO_SEEN : lm_session_find_animal(x->s, animal);
}

static bool are_beside(uint32_t i, uint32_t k)
{
    return k > i ? k - i <= EX_BESIDE : i - k <= EX_BESIDE;
}

/* As if three pairs had been seen that walk together three times as often as others. */
static void learn_family(struct ex *x)
{
    double near = 0.0, pairs = 0.0;
    for (uint32_t i = 0; i < x->s->n_seen; i++) {
        uint32_t animal = x->s->seen[i].animal;
        uint32_t k = animal == LM_NO_ANIMAL ? LM_NO_SEEN : seen_of(x, dam_of(x, animal));
        if (k == LM_NO_SEEN)
            continue;
        pairs += 1.0;
        near += are_beside(i, k);
    }
    odds_of(near, pairs, by_chance(x), 3.0, 3.0, &x->rates.family);
}

/** Friends of an animal: those beside it in the session before. */
static uint32_t friends_near(
    const struct ex *x, const struct ex_walk *w, uint32_t animal, uint32_t place, uint32_t *here)
{
    uint32_t near = 0;
    *here = 0;
    for (uint32_t f = w->friend_first[animal]; f < w->friend_first[animal + 1]; f++) {
        uint32_t k = seen_of(x, w->friends[f]);
        *here += k != LM_NO_SEEN;
        near += k != LM_NO_SEEN && place != LM_NO_SEEN && are_beside(place, k);
    }
    return near;
}

/* As if twenty had been seen to walk where chance put them. */
static void learn_friends(struct ex *x, const struct ex_walk *w)
{
    double near = 0.0, all = 0.0, friends = 0.0;
    x->rates.before = (struct ex_odds){1.0, 1.0};
    if (!x->options->n_beside)
        return;
    for (uint32_t i = 0; i < x->s->n_seen; i++) {
        uint32_t animal = x->s->seen[i].animal, here = 0;
        uint32_t n = animal == LM_NO_ANIMAL ? 0 : friends_near(x, w, animal, i, &here);
        all += here > 0;
        friends += here;
        near += n > 0;
    }
    double each = all > 0.0 ? friends / all : 1.0;
    odds_of(near, all, fmin(0.9, by_chance(x) * each), 1.0, 20.0, &x->rates.before);
    if (x->rates.before.beside < 1.5)
        x->rates.before = (struct ex_odds){1.0, 1.0};
}

static enum lm_err make_friends(struct ex *x, struct ex_walk *w)
{
    uint32_t n = lm_roll_animals(x->roll), pairs = x->options->n_beside;
    const struct lm_explain_beside *b = x->options->beside;
    w->friend_first = calloc((size_t) n + 2, sizeof *w->friend_first);
    w->friends = calloc(2 * (size_t) pairs + 1, sizeof *w->friends);
    if (!w->friend_first || !w->friends)
        return LM_ENOMEM;
    for (uint32_t i = 0; i < pairs; i++) {
        if (b[i].a < n && b[i].b < n) {
            w->friend_first[b[i].a + 1]++;
            w->friend_first[b[i].b + 1]++;
        }
    }
    for (uint32_t i = 0; i < n; i++)
        w->friend_first[i + 1] += w->friend_first[i];
    for (uint32_t i = pairs; i-- > 0;) { /* filled from the end of each; put back after */
        if (b[i].a < n && b[i].b < n) {
            w->friends[--w->friend_first[b[i].a + 1]] = b[i].b;
            w->friends[--w->friend_first[b[i].b + 1]] = b[i].a;
        }
    }
    for (uint32_t i = 0; i < n; i++)
        w->friend_first[i] = w->friend_first[i + 1];
    w->friend_first[n] = 0;
    for (uint32_t i = 0; i < pairs; i++)
        w->friend_first[n] += b[i].a < n && b[i].b < n ? 2 : 0;
    return LM_OK;
}

/* --- mobs --- */

static enum lm_err name_mobs(struct ex *x, struct ex_walk *w)
{
    struct lm_arena words;
    uint32_t n = lm_roll_animals(x->roll), *of_word = NULL;
    enum lm_err err = lm_arena_init(&words);
    w->mob_of = calloc((size_t) n + 1, sizeof *w->mob_of);
    if (!err && !w->mob_of)
        err = LM_ENOMEM;
    for (uint32_t i = 0; i < n && !err; i++)
        err = lm_arena_intern(&words, lm_roll_animal(x->roll, i).mob, &w->mob_of[i]);
    if (!err)
        of_word = calloc((size_t) words.used + 1, sizeof *of_word);
    if (!err && !of_word)
        err = LM_ENOMEM;
    for (uint32_t i = 0; i < n && !err; i++) {
        uint32_t *at = &of_word[w->mob_of[i]];
        if (!*at)
            *at = ++w->n_mobs;
        w->mob_of[i] = *at - 1;
    }
    free(of_word);
    lm_arena_free(&words);
    return err;
}

/** Shares of the mobs in this walk, and how much oftener two in a row are of one mob. */
static enum lm_err learn_mobs(struct ex *x, struct ex_walk *w)
{
    double same = 0.0, pairs = 0.0, known = 0.0, chance = 0.0;
    uint32_t last = EX_NONE;
    w->share = calloc((size_t) w->n_mobs + 1, sizeof *w->share);
    if (!w->share)
        return LM_ENOMEM;
    for (uint32_t i = 0; i < x->s->n_seen; i++) {
        const struct seen *e = &x->s->seen[i];
        uint32_t mob = e->animal == LM_NO_ANIMAL ? EX_NONE : w->mob_of[e->animal];
        if (mob != EX_NONE) {
            w->share[mob] += 1.0;
            known += 1.0;
        }
        if (mob != EX_NONE && last != EX_NONE) {
            pairs += 1.0;
            same += mob == last;
        }
        last = mob;
    }
    for (uint32_t m = 0; m < w->n_mobs; m++) {
        w->share[m] = (w->share[m] + 0.5) / (known + 0.5 * w->n_mobs);
        chance += w->share[m] * w->share[m];
    }
    double f = (same + 20.0 * chance) / (pairs + 20.0);
    w->stick = chance > 0.98 ? 0.0 : fmin(0.95, fmax(0.0, (f - chance) / (1.0 - chance)));
    if (w->stick < 0.1)
        w->stick = 0.0;
    return LM_OK;
}

static uint32_t known_beside(const struct ex *x, const struct ex_walk *w, uint32_t place, int way)
{
    for (uint32_t d = 1; d <= REACH; d++) {
        uint32_t at = way > 0 ? place + d : place - d; /* below 0 wraps beyond the last */
        if (at >= x->s->n_seen)
            return EX_NONE;
        if (x->s->seen[at].animal != LM_NO_ANIMAL)
            return w->mob_of[x->s->seen[at].animal];
    }
    return EX_NONE;
}

static double step(const struct ex_walk *w, uint32_t from, uint32_t to)
{
    if (to == EX_NONE)
        return 1.0;
    return (from == to ? w->stick : 0.0) + (1.0 - w->stick) * w->share[to];
}

double ex_mob_odds(const struct ex_walk *w, const struct ex_item *item, uint32_t mob)
{
    return step(w, mob, item->mob[0]) * step(w, mob, item->mob[1]) / item->mob_any;
}

void ex_walk_item(const struct ex *x, const struct ex_walk *w, struct ex_item *item)
{
    item->mob[0] = item->mob[1] = EX_NONE;
    item->mob_any = 1.0;
    item->mob_other = 1.0;
    if (w->stick <= 0.0)
        return;
    uint32_t a = known_beside(x, w, item->seen, -1), b = known_beside(x, w, item->seen, 1);
    item->mob[0] = a;
    item->mob[1] = b;
    /* a code of nobody we know: its mob is any, as often as they are here */
    double rest = 1.0, sum = 0.0;
    const uint32_t two[2] = {a, b};
    for (int k = 0; k < 2; k++) {
        uint32_t m = two[k];
        if (m == EX_NONE || (k == 1 && m == a))
            continue;
        sum += w->share[m] * step(w, m, a) * step(w, m, b);
        rest -= w->share[m];
    }
    double other = step(w, EX_NONE - 1, a) * step(w, EX_NONE - 1, b);
    item->mob_any = sum + fmax(0.0, rest) * other;
    item->mob_other = other / item->mob_any;
}

/* --- the lists that codes look in --- */

/**
 * For each place in the walk the chain of missing kids whose dam was beside it. One kid is chained
 * at one place only: the nearest code beside its dam.
 */
static enum lm_err chain_kids(const struct ex *x, struct ex_walk *w)
{
    uint32_t n = x->s->n_seen;
    uint32_t *at = w->kids = calloc((size_t) n + x->n_animals + 1, sizeof *at);
    if (!at)
        return LM_ENOMEM;
    for (uint32_t k = 0; k < x->n_missing; k++) {
        uint32_t seen = seen_of(x, dam_of(x, x->animals[k].animal));
        for (uint32_t d = 1; seen != LM_NO_SEEN && d <= EX_BESIDE; d++) {
            uint32_t near[2] = {seen + d, seen - d};
            for (int side = 0; side < 2; side++) {
                if (near[side] >= n || x->s->seen[near[side]].animal != LM_NO_ANIMAL)
                    continue;
                at[n + k] = at[near[side]];
                at[near[side]] = k + 1;
                seen = LM_NO_SEEN;
                break;
            }
            if (seen == LM_NO_SEEN)
                break;
        }
    }
    return LM_OK;
}

/** The missing of each mob, as chains; and who is known to have walked apart from its own. */
static enum lm_err chain_missing(struct ex *x, struct ex_walk *w)
{
    w->mob_first = calloc((size_t) w->n_mobs + 1, sizeof *w->mob_first);
    w->mob_missing = calloc((size_t) w->n_mobs + 1, sizeof *w->mob_missing);
    w->mob_next = calloc((size_t) x->n_missing + 1, sizeof *w->mob_next);
    if (!w->mob_first || !w->mob_missing || !w->mob_next)
        return LM_ENOMEM;
    for (uint32_t i = x->n_missing; i-- > 0;) {
        struct ex_animal *a = &x->animals[i];
        uint32_t here = 0;
        a->mob = w->mob_of[a->animal];
        a->dam_seen = seen_of(x, dam_of(x, a->animal)) != LM_NO_SEEN;
        if (x->options->n_beside)
            friends_near(x, w, a->animal, LM_NO_SEEN, &here);
        a->friend_seen = here > 0;
        w->mob_next[i] = w->mob_first[a->mob];
        w->mob_first[a->mob] = i + 1;
        w->mob_missing[a->mob]++;
    }
    return LM_OK;
}

enum lm_err ex_walk_begin(struct ex *x, struct ex_walk *w)
{
    *w = (struct ex_walk){0};
    enum lm_err err = make_friends(x, w);
    if (!err)
        err = name_mobs(x, w);
    if (!err)
        err = learn_mobs(x, w);
    if (!err)
        err = chain_kids(x, w);
    if (!err)
        err = chain_missing(x, w);
    if (!err) {
        learn_family(x);
        learn_friends(x, w);
    }
    return err;
}

void ex_walk_end(struct ex_walk *w)
{
    free(w->kids);
    free(w->friends);
    free(w->friend_first);
    free(w->mob_of);
    free(w->share);
    free(w->mob_first);
    free(w->mob_next);
    free(w->mob_missing);
}
