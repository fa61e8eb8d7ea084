/* The strings that make a way up, and what they go through, see survey/propagation/around/strings.py. */

#include "around.h"

double mean_power(const Arrival *one)
{
    return 0.5 * (power_of(one->hard) + power_of(one->soft)) + 0.5 * (one->more.hard + one->more.soft);
}

/* The strings that make a way up: those that pass nothing beside the plane first. */
int strings_of(const Workspace *work, int way, const Arrival **strings)
{
    const Plane *plane = work->planes + (way == OVER ? 0 : 1);
    int count = 0;
    for (int i = 0; i < plane->around_count + plane->mixed_count; i++) {
        const Arrival *one = i < plane->around_count ? plane->around[i] : plane->mixed[i - plane->around_count];
        if (way == OVER || one->left == (way == LEFT)) strings[count++] = one;
    }
    return count;
}

/* False without memory. */
bool add_passed(Passes *passes, int obstacle, double power)
{
    int place = 0;
    while (place < passes->count && passes->items[place].obstacle < obstacle) place++;
    if (place == passes->count || passes->items[place].obstacle != obstacle) {
        Passed fresh = {obstacle, 0.0};
        if (!make_room(&passes->items, &passes->room, passes->count + 1, sizeof *passes->items)) return false;
        memmove(passes->items + place + 1, passes->items + place, (size_t)(passes->count - place) * sizeof *passes->items);
        passes->items[place] = fresh;
        passes->count++;
    }
    passes->items[place].power += power;
    return true;
}

/* Add up how often a way of such power goes through each obstacle, the mean by power of its strings, times that; false without memory. */
bool add_passes(const Bodies *bodies, const Workspace *work, int way, double power, Passes *passes)
{
    const Arrival *strings[ROOM_STRINGS + 1];
    const Section *section = work->sections + (way == OVER ? 0 : 1);
    const Scratch *scratch = work->scratch + (way == OVER ? 0 : 1);
    int count = strings_of(work, way, strings);
    double total = 0.0;
    for (int i = 0; i < count; i++) total += mean_power(strings[i]);
    for (int i = 0; i < count; i++)
        for (int step = strings[i]->path->step; step >= 0; step = scratch->steps[step].before)
            for (int k = 0; k < scratch->steps[step].passed_count; k++) {
                int sheet = section->segments[scratch->passed[scratch->steps[step].first_passed + k]].sheet;
                if (!add_passed(passes, bodies->obstacle[sheet], mean_power(strings[i]) / larger(total, 1e-15) * power)) return false;
            }
    return true;
}
