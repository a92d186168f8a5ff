/* A bundle in memory, and the plan of uniting it. Private to src/store. */
#ifndef LUGMARK_BUNDLE_PRIV_H
#define LUGMARK_BUNDLE_PRIV_H

#include "lugmark/bundle.h"
#include "lugmark/eventline.h"
#include "store/store_priv.h"

#include <jansson.h>

#define BUNDLE_ID_SIZE 33u /* 32 hex digits and NUL */
#define BUNDLE_IS_SIZE 56u /* identity of an event: copy, ':' and place */
#define BUNDLE_LINE_MAX (LM_EVENTLINE_MAX + 4096u)

#define BUNDLE_SUM_START UINT64_C(0xcbf29ce484222325)
uint64_t lm_bundle_sum(uint64_t sum, const char *text, size_t len);

/* One event of the bundle. Texts are borrowed from `line`. */
struct bundle_event {
    json_t *line;
    const char *is, *of, *part, *undoes, *why; /* NULL when not there, `is` and `why` never */
    const char *animal;                        /* register events: the key; else NULL */
    enum lm_event_kind kind;
    int64_t t_ms;
    int64_t seq;  /* place in our journal, 0 while it is not there */
    bool missing; /* it was not there before */
};

struct bundle {
    const char *name;
    long line;
    json_t *head;
    json_t *lines; /* keeps all of them */
    json_t *settings, *stock;
    struct bundle_event *events;
    size_t n, size;
    json_t *index; /* `is` to its place in `events` */
    struct lm_problem *p;
};

/* Read and check all of it. @return as lm_bundle_unite(). */
enum lm_err lm_bundle_load(struct bundle *b, FILE *in);
void lm_bundle_drop(struct bundle *b);
enum lm_err lm_bundle_bad(struct bundle *b, enum lm_err err, long line, const char *mend,
    const char *fmt, ...) __attribute__((format(printf, 5, 6)));
/* The entry that a register event carries, with the device ids of the other copy. */
enum lm_err lm_bundle_record(struct bundle *b, const struct bundle_event *e, struct lm_record *rec);
/* An event as it is to be appended. @p hold keeps what it borrows. */
enum lm_err lm_bundle_event(
    struct bundle *b, const struct bundle_event *e, struct lm_eventline *hold, struct lm_event *ev);

/* One animal that the bundle knows more of, or that loses a code to one. */
struct side {
    char key[LM_NAME_MAX + 1];
    unsigned ours, theirs; /* changes that only one side knows */
    bool decided;          /* uniting is an event then: the other copy must see the decision last */
    size_t last;           /* the bundle's last event of it */
    char *cur;             /* its entry while events are appended, JSON with our device ids */
    char *mine;            /* as it stands here; NULL: it is not in the register */
    char *fin;             /* what it shall be */
};

struct plan {
    struct lm_store *store;
    struct bundle *b;
    const struct lm_bundle_hooks *hooks;
    struct lm_united *united;
    int64_t t_ms;
    char copy[BUNDLE_ID_SIZE]; /* our own */
    struct side *sides;
    size_t n, size;
    json_t *index;   /* key to its place in `sides` */
    json_t *ids;     /* device id there, as text, to ours */
    int64_t next_id; /* for devices that are new here */
    bool undecided;
    bool close_ours, close_theirs; /* of two open sessions */
};

/* bundle_plan.c: which events are missing, whose animals they touch, how device ids map. */
enum lm_err lm_unite_make(struct plan *p);
void lm_unite_drop(struct plan *p);
struct side *lm_unite_side(struct plan *p, const char *key, bool add);
/* Parse JSON of our own making. */
enum lm_err lm_unite_record(struct plan *p, const char *json, struct lm_record *rec);
/* Turn device ids of the bundle into ours; new ones are given. */
enum lm_err lm_unite_map(struct plan *p, struct lm_record *rec);
bool lm_unite_same(const struct lm_record *a, const struct lm_record *b);

/* bundle_clash.c: what contradicts, and the entries that come of the decisions. */
enum lm_err lm_unite_decide(struct plan *p);

/* bundle_apply.c */
enum lm_err lm_unite_apply(struct plan *p);

#endif
