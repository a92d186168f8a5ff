/* Words of ICAR's animal data exchange and ours. */
#include "icar_priv.h"

#include <string.h>

struct pair {
    const char *theirs, *ours;
};

/* The first line of a word of theirs is what it becomes here. */
static const struct pair species_words[] = {{"Goat", "goat"}, {"Goat", "goats"},
    {"Goat", "caprine"}, {"Goat", "capra hircus"}, {"Sheep", "sheep"}, {"Sheep", "ovine"},
    {"Sheep", "ovis aries"}, {"Cattle", "cattle"}, {"Cattle", "bovine"}, {"Buffalo", "buffalo"},
    {"Deer", "deer"}, {"Elk", "elk"}, {"Horse", "horse"}, {"Pig", "pig"}};

#define COUNT(table) (sizeof(table) / sizeof(table)[0])

const char *lm_icar_specie(const char *species)
{
    for (size_t i = 0; i < COUNT(species_words); i++)
        if (lm_word_is(species, species_words[i].ours))
            return species_words[i].theirs;
    return NULL;
}

const char *lm_icar_species(const char *specie)
{
    for (size_t i = 0; i < COUNT(species_words); i++)
        if (strcmp(specie, species_words[i].theirs) == 0)
            return species_words[i].ours;
    return NULL;
}

const char *lm_icar_gender(enum lm_sex sex, bool castrated)
{
    if (sex == LM_SEX_FEMALE)
        return castrated ? "FemaleNeuter" : "Female";
    if (sex == LM_SEX_MALE)
        return castrated ? "MaleNeuter" : "Male";
    return "Unknown";
}

bool lm_icar_sex(const char *gender, enum lm_sex *sex, bool *castrated)
{
    for (int k = LM_SEX_UNKNOWN; k <= LM_SEX_MALE; k++)
        for (int cut = 0; cut < 2; cut++)
            if (strcmp(gender, lm_icar_gender((enum lm_sex) k, cut != 0)) == 0) {
                *sex = (enum lm_sex) k;
                *castrated = cut != 0 && k != LM_SEX_UNKNOWN;
                return true;
            }
    return false;
}

const char *lm_icar_status(enum lm_status status)
{
    switch (status) {
    case LM_ON_FARM:
        return "Alive";
    case LM_SOLD:
        return "OffFarm";
    case LM_DEAD:
    case LM_SLAUGHTERED:
        return "Dead";
    case LM_LOST:
        break;
    }
    return "Unknown";
}

static const char *const whats[LM_ICAR_WHATS] = {
    "animals", "arrivals", "departures", "births", "deaths", "session"};

const char *lm_icar_what_name(enum lm_icar_what what)
{
    return what < LM_ICAR_WHATS ? whats[what] : "";
}

enum lm_err lm_icar_what_parse(const char *word, enum lm_icar_what *what)
{
    for (int i = 0; i < LM_ICAR_WHATS; i++)
        if (lm_word_is(word, whats[i])) {
            *what = (enum lm_icar_what) i;
            return LM_OK;
        }
    return LM_EFRAME;
}
