#include "config_parse.h"

#include <arpa/inet.h>
#include <stdlib.h>
#include <string.h>

static const char *const section_names[] = {
    "holding", "lane", "reader", "frame", "page", "attention", "control", NULL};
static const char *const holding_keys[] = {"name", "number", "keeper", NULL};
static const char *const lane_keys[] = {"rearm_s", "crossing_s", NULL};
static const char *const control_keys[] = {"group", NULL};
static const char *const page_keys[] = {"listen", "lan", NULL};

static void set_text(
    struct config_parse *c, const char *key, const char *value, char *out, size_t size)
{
    if (!lm_text_copy(out, size, value, strlen(value))) {
        config_bad(c, c->line, "shorten it", "%s is longer than %zu bytes", key, size - 1);
    }
}

/* Find or make the named block of a list; a name twice is a mistake. */
static struct config_block *add_block(struct config_parse *c, const char *kind, const char *name,
    struct config_block *block, bool fresh)
{
    if (!fresh) {
        config_bad(c, c->line, "put all keys under one heading",
            "[%s %s] stands twice, first in line %ld", kind, name, block->line);
        return NULL;
    }
    block->line = c->line;
    snprintf(block->name, sizeof block->name, "%s", name);
    return block;
}

static void full(struct config_parse *c, const char *kind, unsigned most)
{
    config_bad(c, c->line, "take some out", "more than %u [%s] sections", most, kind);
}

static void begin_reader(struct config_parse *c, const char *name)
{
    struct config *cfg = c->cfg;
    size_t i = 0;
    while (i < cfg->n_readers && strcmp(cfg->readers[i].block.name, name) != 0) {
        i++;
    }
    if (i == CONFIG_READERS) {
        full(c, "reader", CONFIG_READERS);
        return;
    }
    c->block = add_block(c, "reader", name, &cfg->readers[i].block, i == cfg->n_readers);
    if (c->block != NULL) {
        cfg->n_readers++;
        c->section = CONFIG_READER;
    }
}

static void begin_frame(struct config_parse *c, const char *name)
{
    struct config *cfg = c->cfg;
    size_t i = 0;
    while (i < cfg->n_frames && strcmp(cfg->frames[i].name, name) != 0) {
        i++;
    }
    if (i == CONFIG_FRAMES) {
        full(c, "frame", CONFIG_FRAMES);
        return;
    }
    c->block = add_block(c, "frame", name, &cfg->frames[i], i == cfg->n_frames);
    if (c->block != NULL) {
        cfg->n_frames++;
        c->section = CONFIG_FRAME;
    }
}

static void begin_lane(struct config_parse *c, const char *name)
{
    struct config *cfg = c->cfg;
    for (size_t i = 0; i < cfg->n_lanes; i++) {
        if (strcmp(cfg->lanes[i].name, name) == 0) {
            config_bad(c, c->line, "put all keys under one heading",
                "[lane %s] stands twice, first in line %ld", name, cfg->lanes[i].line);
            return;
        }
    }
    if (cfg->n_lanes == CONFIG_LANES) {
        full(c, "lane", CONFIG_LANES);
        return;
    }
    c->lane = &cfg->lanes[cfg->n_lanes++];
    *c->lane = (struct config_lane){
        .line = c->line, .rearm_ms = LM_TIME_NONE, .crossing_ms = LM_TIME_NONE};
    snprintf(c->lane->name, sizeof c->lane->name, "%s", name);
    c->section = CONFIG_LANE;
}

static void begin_single(
    struct config_parse *c, enum config_section section, const char *word, const char *name)
{
    unsigned bit = 1u << section;
    if (name[0] != '\0') {
        config_bad(c, c->line, "take the name out", "[%s] has no name of its own", word);
    } else if ((c->seen & bit) != 0) {
        config_bad(c, c->line, "put all keys under one heading", "[%s] stands twice", word);
    } else {
        c->seen |= bit;
        c->section = section;
    }
}

static void begin_named(struct config_parse *c, const char *word, const char *name)
{
    if (name[0] == '\0') {
        char mend[64];
        snprintf(mend, sizeof mend, "write it as [%.16s NAME]", word);
        config_bad(c, c->line, mend, "[%s] without a name", word);
    } else if (strlen(name) > LM_NAME_MAX) {
        config_bad(c, c->line, "shorten it", "a name of more than %u bytes", LM_NAME_MAX);
    } else if (strcmp(word, "lane") == 0 && strpbrk(name, " =") != NULL) {
        /* settings travel with a session as `rearm_ms.LANE=3000` words */
        config_bad(c, c->line, "use letters, digits, - or _", "a blank or = in a lane's name");
    } else if (strcmp(word, "reader") == 0) {
        begin_reader(c, name);
    } else if (strcmp(word, "frame") == 0) {
        begin_frame(c, name);
    } else {
        begin_lane(c, name);
    }
}

void config_section_begin(struct config_parse *c, const char *text)
{
    char all[CONFIG_LINE_MAX + 1], mend[LM_PROBLEM_TEXT_MAX];
    lm_text_copy(all, sizeof all, text, strlen(text));
    size_t word_len = strcspn(all, " ");
    const char *name = all + word_len + strspn(all + word_len, " ");
    char word[CONFIG_LINE_MAX + 1];
    snprintf(word, sizeof word, "%.*s", (int) word_len, all);
    c->section = CONFIG_BAD_SECTION;
    c->n_keys = 0;
    c->block = NULL;
    c->lane = NULL;
    if (!config_is_one(word, section_names)) {
        config_bad(c, c->line, config_suggest(word, section_names, mend, sizeof mend),
            "no section is called [%s]", word);
    } else if (strcmp(word, "holding") == 0) {
        begin_single(c, CONFIG_HOLDING, word, name);
    } else if (strcmp(word, "page") == 0) {
        begin_single(c, CONFIG_PAGE, word, name);
    } else if (strcmp(word, "attention") == 0) {
        begin_single(c, CONFIG_ATTENTION, word, name);
    } else if (strcmp(word, "control") == 0) {
        begin_single(c, CONFIG_CONTROL, word, name);
    } else {
        begin_named(c, word, name);
    }
}

static bool known_key(
    struct config_parse *c, const char *section, const char *key, const char *const *names)
{
    if (config_is_one(key, names)) {
        return true;
    }
    char mend[LM_PROBLEM_TEXT_MAX];
    config_bad(c, c->line, config_suggest(key, names, mend, sizeof mend), "[%s] has no key %s",
        section, key);
    return false;
}

static void holding_key(struct config_parse *c, const char *key, const char *value)
{
    struct config *cfg = c->cfg;
    if (!known_key(c, "holding", key, holding_keys)) {
        return;
    }
    if (strcmp(key, "name") == 0) {
        set_text(c, key, value, cfg->holding_name, sizeof cfg->holding_name);
    } else if (strcmp(key, "number") == 0) {
        set_text(c, key, value, cfg->holding_number, sizeof cfg->holding_number);
    } else {
        set_text(c, key, value, cfg->holding_keeper, sizeof cfg->holding_keeper);
    }
}

/* Seconds with a fraction, 0 to an hour; LM_TIME_NONE after a mistake. */
static int64_t seconds(struct config_parse *c, long line, const char *key, const char *value)
{
    char *end = NULL;
    double s = strspn(value, "0123456789.") == strlen(value) ? strtod(value, &end) : -1;
    if (end == NULL || end == value || *end != '\0' || s < 0 || s > 3600) {
        config_bad(c, line, "write a number such as 30 or 2.5",
            "%s = %s is no time of 0 to 3600 seconds", key, value);
        return LM_TIME_NONE;
    }
    return (int64_t) (s * 1000 + 0.5);
}

static void lane_key(struct config_parse *c, const char *key, const char *value)
{
    if (!known_key(c, "lane", key, lane_keys)) {
        return;
    }
    int64_t ms = seconds(c, c->line, key, value);
    if (ms == LM_TIME_NONE) {
        return;
    }
    if (strcmp(key, "rearm_s") == 0) {
        c->lane->rearm_ms = ms;
        return;
    }
    /* How far lanes are apart is a fact of the yard, not of one lane: the longest way counts. */
    bool first = true;
    for (size_t i = 0; i < c->cfg->n_lanes; i++) {
        first = first && c->cfg->lanes[i].crossing_ms == LM_TIME_NONE;
    }
    c->lane->crossing_ms = ms;
    if (first || ms > c->cfg->options.crossing_ms) {
        c->cfg->options.crossing_ms = ms;
    }
}

static void attention_key(struct config_parse *c, const char *key, const char *value)
{
    enum lm_reason reason = LM_REASONS;
    char mend[LM_PROBLEM_TEXT_MAX];
    if (lm_reason_parse(key, &reason) != LM_OK) {
        const char *names[LM_REASONS + 1];
        for (size_t i = 0; i < LM_REASONS; i++) {
            names[i] = lm_reason_name((enum lm_reason) i);
        }
        names[LM_REASONS] = NULL;
        config_bad(c, c->line, config_suggest(key, names, mend, sizeof mend),
            "no finding has the reason %s", key);
        return;
    }
    for (unsigned a = LM_GO; a <= LM_HOLD; a++) {
        if (lm_word_is(value, lm_attention_name((enum lm_attention) a))) {
            c->cfg->options.attention[reason] = (uint8_t) a;
            return;
        }
    }
    config_bad(c, c->line, "write go, look or hold", "%s = %s is no attention", key, value);
}

static bool is_address(const char *text, size_t len)
{
    char host[LM_NAME_MAX + 1];
    struct in6_addr at;
    if (len == 0 || len >= sizeof host) {
        return false;
    }
    memcpy(host, text, len);
    host[len] = '\0';
    if (strcmp(host, "localhost") == 0 || inet_pton(AF_INET, host, &at) == 1) {
        return true;
    }
    host[len - 1] = '\0';
    return host[0] == '[' && text[len - 1] == ']' && inet_pton(AF_INET6, host + 1, &at) == 1;
}

static bool is_address_and_port(const char *value)
{
    const char *colon = strrchr(value, ':');
    const char *port = colon != NULL ? colon + 1 : "";
    size_t n = strspn(port, "0123456789");
    return n > 0 && n <= 5 && port[n] == '\0' && strtol(port, NULL, 10) <= 65535 &&
           is_address(value, (size_t) (colon - value));
}

/* An address and a port; whether it can be listened on is found out by the page itself. */
static void page_key(struct config_parse *c, const char *key, const char *value)
{
    bool off = strcmp(value, "off") == 0;
    if (!known_key(c, "page", key, page_keys)) {
        return;
    }
    if (strcmp(key, "lan") == 0) {
        struct in_addr at;
        if (!off && inet_pton(AF_INET, value, &at) != 1) {
            config_bad(c, c->line, "write an address of this machine such as 192.168.1.5, or off",
                "lan = %s is no address", value);
            return;
        }
        set_text(c, key, value, c->cfg->page_lan, sizeof c->cfg->page_lan);
        return;
    }
    if (!off && !is_address_and_port(value)) {
        config_bad(c, c->line, "write it as 127.0.0.1:8480, or off",
            "listen = %s is no address and port", value);
        return;
    }
    set_text(c, key, value, c->cfg->page_listen, sizeof c->cfg->page_listen);
}

static void control_key(struct config_parse *c, const char *key, const char *value)
{
    static const char *const words[] = {"nobody", "look", "work"}; /* as enum peer_may */
    if (!known_key(c, "control", key, control_keys)) {
        return;
    }
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++) {
        if (strcmp(value, words[i]) == 0) {
            c->cfg->control_group = (enum peer_may) i;
            return;
        }
    }
    config_bad(c, c->line, "write work, look or nobody", "group = %s is none of these", value);
}

/* Keys of readers and frames are judged when the driver is known. */
static void block_key(struct config_parse *c, const char *key, const char *value)
{
    struct config_setting *s = &c->block->settings[c->block->n++];
    s->line = c->line;
    snprintf(s->key, sizeof s->key, "%s", key);
    snprintf(s->value, sizeof s->value, "%s", value);
}

static bool fresh_key(struct config_parse *c, const char *key)
{
    for (size_t i = 0; i < c->n_keys; i++) {
        if (strcmp(c->keys[i], key) == 0) {
            config_bad(c, c->line, "take one of the two out",
                "the key %s stands twice in its section", key);
            return false;
        }
    }
    if (strlen(key) >= CONFIG_KEY_MAX || key[0] == '\0') {
        config_bad(c, c->line, "check the spelling", "no key has such a name");
        return false;
    }
    if (c->n_keys == CONFIG_SETTINGS) {
        config_bad(
            c, c->line, "take some out", "more than %u keys in one section", CONFIG_SETTINGS);
        return false;
    }
    snprintf(c->keys[c->n_keys++], CONFIG_KEY_MAX, "%s", key);
    return true;
}

void config_key(struct config_parse *c, const char *key, const char *value)
{
    if (c->section == CONFIG_BAD_SECTION || !fresh_key(c, key)) {
        return;
    }
    switch (c->section) {
    case CONFIG_NO_SECTION:
        config_bad(c, c->line, "put a heading such as [holding] above it",
            "the key %s stands before the first section", key);
        break;
    case CONFIG_HOLDING:
        holding_key(c, key, value);
        break;
    case CONFIG_LANE:
        lane_key(c, key, value);
        break;
    case CONFIG_READER:
    case CONFIG_FRAME:
        block_key(c, key, value);
        break;
    case CONFIG_PAGE:
        page_key(c, key, value);
        break;
    case CONFIG_ATTENTION:
        attention_key(c, key, value);
        break;
    case CONFIG_CONTROL:
        control_key(c, key, value);
        break;
    case CONFIG_BAD_SECTION:
        break;
    }
}
