/* The evidence in words: what speaks for an explanation, then what speaks against it. */
#include "race/explain_priv.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *key_of(const struct ex *x, uint32_t animal)
{
    return animal == LM_NO_ANIMAL ? "-" : lm_roll_animal(x->roll, animal).key;
}

/** Long texts from outside are cut: a line of words must stay a line. */
struct brief {
    char text[44];
};
static struct brief brief(const char *text)
{
    struct brief b;
    if (!lm_text_copy(b.text, sizeof b.text - 3, text, strlen(text)))
        memcpy(b.text + strlen(b.text), "...", sizeof "...");
    return b;
}

static void say_range(
    const struct ex *x, const struct ex_item *item, bool for_new, struct ex_draft *d)
{
    bool near = item->range == EX_RANGE_NEAR;
    if (!x->n_places || item->stock != EX_NONE)
        return;
    if (near)
        ex_say(d, !for_new, "the code is in the number range of this flock's codes");
    else if (item->range == EX_RANGE_COUNTRY)
        ex_say(d, for_new, "the code is of this flock's country, outside its number range");
    else if (item->range == EX_RANGE_FAR)
        ex_say(d, for_new, "the code is of this flock's country, far outside its number range");
    else
        ex_say(d, for_new, "the code is of another country or maker than this flock's codes");
}

static void say_stock(const struct ex *x, const struct ex_item *item, struct ex_draft *d)
{
    const struct lm_explain_stock *s = x->options->stock;
    if (item->stock == EX_NONE) {
        if (x->options->n_stock)
            ex_against(d, "the code is not in the supply list");
        return;
    }
    s += item->stock;
    struct brief strip = brief(s->strip), printed = brief(s->visual);
    if (item->ahead == 0 && s->visual[0])
        ex_because(d,
            "the code is the next unused one of strip %s in the supply list, position %u, "
            "printed %s",
            strip.text, s->position, printed.text);
    else if (item->ahead == 0)
        ex_because(d, "the code is the next unused one of strip %s in the supply list, position %u",
            strip.text, s->position);
    else if (s->visual[0])
        ex_because(d,
            "the code is an unused one of strip %s in the supply list, position %u, printed %s",
            strip.text, s->position, printed.text);
    else
        ex_because(d, "the code is an unused one of strip %s in the supply list, position %u",
            strip.text, s->position);
    if (item->ahead >= 100)
        ex_against(d, "%u or more unused ones of its strip come before it", item->ahead);
    else if (item->ahead >= 3)
        ex_against(d, "%u unused ones of its strip come before it", item->ahead);
}

static void say_age(const struct ex *x, const struct ex_animal *a, struct ex_draft *d)
{
    const struct lm_explain_life *l = a->curve == EX_NONE ? NULL : &x->options->lives[a->curve];
    bool more = a->age > 1.25;
    double years = a->days / 365.25;
    if (!more && a->age > 0.8)
        return;
    if (l)
        ex_say(d, !more,
            "its device is %.1f years old: at that age %.1f times as many are lost or fail as in "
            "the flock (%u like it watched here, %u ended)",
            years, a->age, l->devices, l->ended);
    else
        ex_say(d, !more,
            "its device is %.1f years old: at that age %.1f times as many are lost or fail as in "
            "the flock (by the usual curve)",
            years, a->age);
}

/** Beside whom the code walked. */
static void say_walk(const struct ex *x, const struct ex_pair *p, struct ex_draft *d)
{
    const struct ex_item *item = &x->items[p->item];
    const struct ex_animal *a = &x->animals[p->animal];
    struct brief mob = brief(lm_roll_animal(x->roll, a->animal).mob);
    if (p->evidence & EV_FAMILY)
        ex_because(d, "its dam or kid walked beside the code");
    else if (a->dam_seen && x->rates.family.apart < 0.7)
        ex_against(d, "its dam walked elsewhere");
    if (p->evidence & EV_BEFORE)
        ex_because(d, "one that walked beside it in the session before walked beside the code");
    else if (a->friend_seen && x->rates.before.apart < 0.7)
        ex_against(d, "those beside it in the session before walked elsewhere");
    if (item->type != EX_CODE || !mob.text[0])
        return;
    if (p->mob > 1.2)
        ex_because(d, "those beside the code are of its mob, %s", mob.text);
    else if (p->mob < 0.8)
        ex_against(d, "those beside the code are not of its mob, %s", mob.text);
}

static void say_differs(struct ex_draft *d, const char *said, const char *own)
{
    if (own[0])
        ex_against(d, "%s was called, its number is %s", said, own);
    else
        ex_against(d, "%s was called, its number is not known", said);
}

static void say_call(const struct ex *x, const struct ex_pair *p, struct ex_draft *d)
{
    const struct ex_item *item = &x->items[p->item];
    const struct ex_animal *a = &x->animals[p->animal];
    if (!item->text)
        return;
    struct brief said = brief(item->text), own = brief(a->number);
    if (p->evidence & EV_CALLED)
        ex_because(d, "its number %s was called for the code", own.text);
    else if (p->evidence & EV_CONFUSED)
        ex_because(
            d, "%s was called, and is easily misread for its number %s", said.text, own.text);
    else
        say_differs(d, said.text, own.text);
}

void ex_say_pair(const struct ex *x, const struct ex_pair *p, struct ex_draft *d)
{
    const struct ex_item *item = &x->items[p->item];
    const struct ex_animal *a = &x->animals[p->animal];
    const char *key = key_of(x, a->animal);
    if (!a->unread)
        ex_because(d, "%s is expected and was not read", key);
    else
        ex_because(d, "%s was called and its own code was not read", key);
    say_call(x, p, d);
    if (p->evidence & EV_PRINTED)
        ex_because(d, "the supply list prints its number on the device");
    if (p->evidence & EV_START)
        ex_because(d, "the code says where its printed number starts: it is this animal's");
    if (item->type == EX_CODE) {
        say_walk(x, p, d);
        say_stock(x, item, d);
        say_range(x, item, true, d);
        say_age(x, a, d);
    } else if (item->named != LM_NO_ANIMAL) {
        ex_against(d, "%s carries the number called", key_of(x, item->named));
    } else {
        ex_because(d, "no animal carries the number called");
    }
}

void ex_say_stranger(const struct ex *x, const struct ex_item *item, struct ex_draft *d)
{
    struct brief said = brief(item->text ? item->text : "");
    if (item->type == EX_NUMBER) {
        ex_because(d, "no animal carries the number %s", said.text);
        return;
    }
    ex_because(d, "no device in the register carries the code");
    if (item->stock != EX_NONE)
        ex_against(d, "the code is on the supply list of this holding");
    else
        say_range(x, item, false, d);
    if (item->named != LM_NO_ANIMAL)
        ex_against(d, "%s, the number of %s, was called for it", said.text, key_of(x, item->named));
    if (item->p_fresh > 0.02)
        ex_against(
            d, "a missing animal may wear it, nothing says which (%.0f %%)", item->p_fresh * 100.0);
}

/** What earlier sessions say of the two. */
static void say_before(const struct ex *x, bool absent, struct ex_draft *d)
{
    const struct lm_explain_history *h = &x->options->history;
    if (h->expected < 1.0)
        return;
    if (absent)
        ex_say_n(d, false, h->sessions, "in %u earlier session %.1f of 100 expected were absent",
            "in %u earlier sessions %.1f of 100 expected were absent", h->sessions,
            100.0 * h->absent / h->expected);
    else
        ex_say_n(d, false, h->sessions,
            "in %u earlier session %.1f of 100 expected were there with a dead code",
            "in %u earlier sessions %.1f of 100 expected were there with a dead code", h->sessions,
            100.0 * h->dead / h->expected);
}

void ex_say_animal(const struct ex *x, const struct ex_animal *a, struct ex_draft *d)
{
    bool absent = d->e.kind == LM_EX_ABSENT;
    if (a->unread)
        ex_say(d, absent, "its number was called and its code was not read");
    else
        ex_because(d, "neither its code was read nor its number called");
    if (x->unknown_heads > -0.5 && !a->unread) {
        bool none = x->unknown_heads < 0.5;
        if (none)
            ex_say(d, !absent, "by the head count nobody went through unknown");
        else
            ex_say(d, absent, "by the head count some animals went through unknown");
    }
    if (!absent)
        say_age(x, a, d);
    say_before(x, absent, d);
    if (a->p_fresh > 0.02)
        ex_against(d, "it may wear one of the unknown codes, nothing says which (%.0f %%)",
            a->p_fresh * 100.0);
    if (x->swapped[a->animal] > 0.05)
        ex_against(d, "its number was called for another animal's code");
}

static void say_other_call(const struct ex *x, const struct ex_clash *c, struct ex_draft *d)
{
    uint8_t calls = x->calls_of[c->other];
    const char *key = key_of(x, c->other);
    bool swap = d->e.kind == LM_EX_SWAPPED;
    if (c->partner != EX_NONE)
        ex_say(d, !swap, "for the code of %s the number of %s was called as well", key,
            key_of(x, c->animal));
    else if (calls & 1)
        ex_say(d, swap, "%s was called by its own number for its own code", key);
    else if (swap)
        ex_against(d, "no number was called for the code of %s", key);
}

void ex_say_clash(const struct ex *x, const struct ex_clash *c, struct ex_draft *d)
{
    struct brief said = brief(c->text), own = brief(ex_number_of(x->roll, c->animal));
    bool swap = d->e.kind == LM_EX_SWAPPED;
    if (own.text[0])
        ex_because(d, "%s was called for the code of %s, whose number is %s", said.text,
            key_of(x, c->animal), own.text);
    else
        ex_because(d, "%s was called for the code of %s, whose number is not known", said.text,
            key_of(x, c->animal));
    if (c->confuse > 0.0)
        ex_say(d, swap, "the two numbers are easily misread for each other");
    else if (!swap)
        ex_against(d, "no common mistake makes one number of the other");
    if (c->other != LM_NO_ANIMAL) {
        ex_because(d, "%s is the number of %s", said.text, key_of(x, c->other));
        say_other_call(x, c, d);
    } else if (!swap) {
        ex_because(d, "no other animal carries the number called");
    }
    if (c->corrected)
        ex_say(d, swap, "its right number was called too");
}

static void say_step(const struct ex_run *r, struct ex_draft *d)
{
    int by = abs(r->offset);
    if (by == 1 && r->offset > 0)
        ex_say_n(d, false, r->calls, "%u call names the animal 1 place further along the strip",
            "%u calls all name the animal 1 place further along the strip", r->calls);
    else if (by == 1)
        ex_say_n(d, false, r->calls, "%u call names the animal 1 place back along the strip",
            "%u calls all name the animal 1 place back along the strip", r->calls);
    else if (r->offset > 0)
        ex_say_n(d, false, r->calls, "%u call names the animal %d places further along the strip",
            "%u calls all name the animal %d places further along the strip", r->calls, by);
    else
        ex_say_n(d, false, r->calls, "%u call names the animal %d places back along the strip",
            "%u calls all name the animal %d places back along the strip", r->calls, by);
}

void ex_say_run(const struct ex *x, const struct ex_run *r, struct ex_draft *d)
{
    say_step(r, d);
    ex_because(d, "no number was called between them that fits the register");
    uint32_t animals = r->last - r->first + 1;
    if (animals > r->calls)
        ex_against(
            d, "%u of the %u animals of the stretch were not called", animals - r->calls, animals);
    if (r->ends < 0.95)
        ex_against(d, "where the stretch ends is not known");
    if (x->places[r->first].stock == EX_NONE)
        ex_against(d, "no supply list, the codes' own order stands for the strip");
}
