/** @file explain_priv.h
 * Explaining a session: what the parts share. See explain.h for the model.
 */
#ifndef LM_RACE_EXPLAIN_PRIV_H
#define LM_RACE_EXPLAIN_PRIV_H

#include "lugmark/explain.h"
#include "race/match.h"
#include "race/session_priv.h"

#define EX_NONE UINT32_MAX
#define EX_KEY_HITS 64u   /**< animals of one number or key looked at */
#define EX_BESIDE 2u      /**< so many places in the walk are still beside each other */
#define EX_KEY_LENGTH 24u /**< longer numbers are compared whole only */

/** How much likelier two are beside each other here than by chance, and how much less apart. */
struct ex_odds {
    double beside, apart;
};

/** Rates of what goes wrong, each per expected animal or per call. */
struct ex_rates {
    double absent, fresh, dead; /**< of an expected animal */
    double stranger;            /**< strangers' codes per expected animal */
    double call;                /**< passes with a reading whose number is called */
    double call_dead;           /**< the same where there was no reading */
    double misread, slip;       /**< of a called number: confused; another's altogether */
    double swap, run;           /**< of an animal; of a place on a strip */
    struct ex_odds family;      /**< of dam and kid */
    struct ex_odds before;      /**< of animals beside each other in the session before */
    double again;               /**< of an animal: called once more without need */
    double silent;              /**< weight of "there, unread and uncalled" beside `absent` */
};

/** An expected animal that is missing, or one that was only called. */
struct ex_animal {
    uint32_t animal;
    bool unread;        /**< called, no reading */
    bool lone;          /**< unread: called without a code */
    bool coded;         /**< wears a device with a code */
    bool absorbed;      /**< unread: its call is taken as its own, a new code may be its */
    uint32_t seen;      /**< unread: place in the order of the walk */
    const char *number; /**< first printed number it wears, "" for none */
    double age;         /**< hazard of its oldest device against the flock's mean */
    double days;        /**< how long that one has been on; negative when not known */
    uint32_t curve;     /**< whose retention tells, or EX_NONE: the usual curve */
    uint32_t mob;       /**< of those missing: number of its mob */
    bool dam_seen;      /**< its dam walked, so it can be told whether beside her */
    bool friend_seen;   /**< the same with those beside it in the session before */
    double alone;       /**< weight of being matched with nothing */
    double fresh;       /**< background weight against `alone`: a new device, nothing says which */
    double p_alone, p_fresh;
};

enum ex_type { EX_CODE, EX_NUMBER, EX_CALL };

/** A code that nobody wears, a number that nobody has, or a call that may be another's. */
struct ex_item {
    enum ex_type type;
    struct lm_eid eid;
    uint32_t seen;     /**< EX_CODE: place in the order of the walk */
    uint32_t sighting; /**< index of the call, or EX_NONE */
    const char *text;  /**< number called, or NULL */
    uint32_t named;    /**< animal of the roll whose number was called, or LM_NO_ANIMAL */
    uint32_t stock;    /**< its item of the supply list, or EX_NONE */
    uint32_t owner;    /**< EX_CALL: node of the animal whose number it is, or EX_NONE (was read) */
    unsigned range;    /**< EX_CODE: how it stands to the flock's codes, enum ex_range */
    unsigned ahead;    /**< EX_CODE in stock: unused places before it on its strip */
    uint32_t mob[2];   /**< EX_CODE: mobs of the known animals before and after it, or EX_NONE */
    double mob_any;    /**< chance of those two beside a code of nobody we know */
    double mob_other;  /**< odds of those two beside an animal of any other mob; 1: says nothing */
    double alone, fresh, p_alone, p_fresh;
};

enum ex_range { EX_RANGE_NEAR, EX_RANGE_COUNTRY, EX_RANGE_FAR, EX_RANGE_FOREIGN };

/** What speaks for a pair, as bits. */
enum ex_evidence {
    EV_CALLED = 1,   /**< its own number was called for the code */
    EV_CONFUSED = 2, /**< a number like its own was called */
    EV_PRINTED = 4,  /**< the supply list prints its number on the device */
    EV_START = 8,    /**< the code's visual start digit points at its number */
    EV_FAMILY = 16,  /**< its dam or kid walked beside the code */
    EV_OWN = 32,     /**< EX_CALL: the call is the animal's own */
    EV_BACKGROUND = 64,
    EV_BEFORE =
        128,     /**< an animal that walked beside it in the session before was beside the code */
    EV_MOB = 256 /**< those beside the code are of its mob */
};

struct ex_pair {
    uint32_t animal, item;
    unsigned evidence;
    double likelihood; /**< against staying alone, without rates (see explain_weigh.c) */
    double confuse;
    double mob; /**< odds by the mobs of those beside the code */
};

/** A number that contradicts the code it was called for. */
struct ex_clash {
    uint32_t sighting, animal, other; /**< roll indexes; other may be LM_NO_ANIMAL */
    struct lm_eid eid;
    const char *text;
    uint32_t place, other_place; /**< on the strips, or EX_NONE */
    uint32_t group;              /**< run it belongs to, or EX_NONE */
    uint32_t partner;            /**< clash the other way round, or EX_NONE */
    bool corrected;              /**< the right number was called for the code too */
    double confuse, misread, swap, run;
    double ends; /**< how surely a run of this call alone is no longer than the two places */
};

/** A worn device on its strip, in strip order over all strips. */
struct ex_place {
    uint32_t animal;
    uint32_t strip;   /**< number of the strip, by supply list or by country */
    int64_t position; /**< supply list: position; else the rank of the code */
    uint64_t key;
    long long number; /**< registered number as an integer, or -1 */
    uint32_t stock;
};

struct ex_run {
    uint32_t first, last; /**< places */
    int offset;
    uint32_t calls; /**< clashes in it */
    double ends;    /**< how surely it begins and ends there */
    double p;
};

/** Text keys -> animal nodes, chained; for numbers and what is left after losing a character. */
struct ex_index {
    uint32_t *slots, n_slots;
    struct ex_link {
        uint64_t hash;
        uint32_t node, next;
    } * links;
    uint32_t n_links, cap_links;
};

/** Everything of one call of lm_explain(). */
struct ex {
    const struct lm_session *s;
    const struct lm_roll *roll;
    const struct lm_explain_options *options;
    struct lm_summary sum;
    struct ex_rates rates;
    struct ex_animal *animals;
    struct ex_item *items;
    struct ex_pair *pairs;
    struct lm_match_edge *edges;
    struct ex_clash *clashes;
    struct ex_place *places;
    struct ex_run *runs;
    uint32_t n_animals, n_items, n_pairs, n_clashes, n_places, n_runs;
    uint32_t cap_animals, cap_items, cap_pairs, cap_clashes, cap_runs;
    uint32_t *node_of;      /**< roll animal -> node + 1 */
    uint8_t *calls_of;      /**< roll animal: 1 a right call for its code, 2 a clash */
    uint32_t *stock_sorted; /**< supply list by code */
    uint32_t n_codes, n_missing;
    uint64_t low, high; /**< range of the flock's codes of its main country */
    unsigned country;
    double *swapped; /**< roll animal -> how surely its device is on another */
    struct ex_index numbers;
    bool background;                 /**< pairs without evidence share one weight */
    double pull_animals, pull_codes; /**< sums of the background, see explain_solve.c */
    double unknown_heads; /**< animals that went through unknown by the head count, -1: not said */
    uint32_t calls;
    uint32_t *best;                  /**< node -> item of the likeliest story */
    struct lm_explain_history tally; /**< what this session most likely was */
    bool aged;                       /**< of some animal's device it is known when it was put on */
    double free_missing; /**< missing that nothing but absence or a dead code explains */
};

/* explain_gather.c, explain_stock.c */
enum lm_err ex_gather(struct ex *x);
enum lm_err ex_stock_prepare(struct ex *x);
uint32_t ex_stock_of(const struct ex *x, struct lm_eid eid);
void ex_stock_place(struct ex *x, struct ex_item *item);
const char *ex_number_of(const struct lm_roll *roll, uint32_t animal);
bool ex_has_number(const struct lm_roll *roll, uint32_t animal, const char *number);
double ex_confuse(const struct lm_roll *roll, uint32_t animal, const char *called);
enum lm_err ex_grow(void *rows, uint32_t *cap, uint32_t used, size_t row_size);

/* explain_age.c */
enum lm_err ex_ages(struct ex *x);

/* explain_index.c */
enum lm_err ex_index_build(struct ex *x);
/** Nodes whose number may be called as @p text; at most EX_KEY_HITS. @return how many. */
uint32_t ex_index_find(const struct ex *x, const char *text, uint32_t out[EX_KEY_HITS]);

/* explain_pairs.c, explain_weigh.c, explain_solve.c */
enum lm_err ex_pairs(struct ex *x);
void ex_weigh(struct ex *x);
double ex_weight(const struct ex *x, const struct ex_pair *p);
enum lm_err ex_solve(struct ex *x);
double ex_range_odds(const struct ex *x, const struct ex_item *item);

/* explain_rates.c */
void ex_rates_begin(struct ex *x);
/** Count what the session most likely was by the probabilities as they stand. */
void ex_rates_count(struct ex *x, const struct lm_match *m);
/** Estimate the rates again from that. */
void ex_rates_learn(struct ex *x);

/* explain_strip.c, explain_clash.c */
enum lm_err ex_places(struct ex *x);
uint32_t ex_place_of(const struct ex *x, struct lm_eid eid);
enum lm_err ex_runs(struct ex *x);
enum lm_err ex_clash_weigh(struct ex *x);

double lm_confuse_folded(const char *printed, const char *called);

/** The pair of an edge. */
const struct ex_pair *ex_pair_of(const struct ex *x, uint32_t animal, uint32_t item);

/* explain_keep.c: what is handed out, kept in blocks that never move */
#define EX_BECAUSE_MAX 12u
struct ex_block;
struct lm_explain {
    struct lm_explanation *all;
    uint32_t n, cap;
    struct ex_block *blocks;
    enum lm_err err; /**< the first thing that went wrong */
    struct lm_explain_history tally, history;
    uint32_t devices, ended; /**< that the retention rests on */
    bool aged;
    const struct lm_speech *speech; /**< never NULL once lm_explain() began */
};
/** An explanation being made. */
struct ex_draft {
    struct lm_explanation e;
    uint32_t one[2];
    struct lm_eid codes[2];
    char lines[EX_BECAUSE_MAX][320];
    const char *because[EX_BECAUSE_MAX];
    bool against[EX_BECAUSE_MAX]; /**< that line speaks against it */
    const struct lm_speech *speech;
};
/** @p for_list  The list that it will be kept in: says the tongue. */
void ex_draft(
    struct ex_draft *d, const struct lm_explain *for_list, enum lm_explain_kind kind, double p);
void ex_draft_animal(struct ex_draft *d, uint32_t animal);
void ex_draft_code(struct ex_draft *d, struct lm_eid eid);
/* A line of evidence, a whole sentence in English; it is translated on its way. */
void ex_because(struct ex_draft *d, const char *fmt, ...) __attribute__((format(printf, 2, 3)));
void ex_against(struct ex_draft *d, const char *fmt, ...) __attribute__((format(printf, 2, 3)));
/** For it, or against. */
void ex_say(struct ex_draft *d, bool against, const char *fmt, ...)
    __attribute__((format(printf, 3, 4)));
/** The same of counted things: the form that goes with @p n. */
void ex_say_n(struct ex_draft *d, bool against, unsigned long n, const char *one, const char *many,
    ...) __attribute__((format(printf, 4, 6), format(printf, 5, 6)));
/** English as it is written. */
extern const struct lm_speech ex_english;
/** Marks a text for the catalog that is translated elsewhere. */
#define N_(text) (text)
/** Copy a draft into the list. */
void ex_keep(struct lm_explain *out, const struct ex_draft *d);
void ex_order(struct lm_explain *out);

/* explain_out.c, explain_out_clash.c, explain_say.c */
void ex_out_matches(const struct ex *x, struct lm_explain *out);
void ex_out_clashes(const struct ex *x, struct lm_explain *out);
void ex_say_pair(const struct ex *x, const struct ex_pair *p, struct ex_draft *d);
void ex_say_stranger(const struct ex *x, const struct ex_item *item, struct ex_draft *d);
void ex_say_animal(const struct ex *x, const struct ex_animal *a, struct ex_draft *d);
void ex_say_clash(const struct ex *x, const struct ex_clash *c, struct ex_draft *d);
void ex_say_run(const struct ex *x, const struct ex_run *r, struct ex_draft *d);

#endif
