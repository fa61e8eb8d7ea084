/* Strings in a plane, best first, see survey/propagation/around/search.py. */

#include "around.h"

double edge_loss_db(double nu)
{
    if (nu <= -0.78) return 0.0;
    return larger(0.0, 6.9 + 20.0 * log10(sqrt((nu - 0.1) * (nu - 0.1) + 1.0) + nu - 0.1));
}

static bool wraps(const Section *section, int corner, double ux, double uy, double vx, double vy)
{
    double turn = ux * vy - uy * vx;
    if (fabs(turn) < LEAST_TURN && ux * vx + uy * vy > 0) return false;
    double side = turn > 0 ? 1.0 : -1.0;
    const Corner *here = section->corners + corner;
    for (int i = 0; i < here->arm_count; i++) {
        const Arm *arm = here->arms + i;
        if (side * (ux * arm->dy - uy * arm->dx) < -TOUCH_M || side * (vx * arm->dy - vy * arm->dx) < -TOUCH_M) return false;
    }
    return true;
}

static bool can_wrap(const Section *section, int corner, double ux, double uy)
{
    bool left = false, right = false;
    const Corner *here = section->corners + corner;
    for (int i = 0; i < here->arm_count; i++) {
        double off = ux * here->arms[i].dy - uy * here->arms[i].dx;
        left |= off > TOUCH_M;
        right |= off < -TOUCH_M;
    }
    return !(left && right);
}

static bool has_corner(const Scratch *scratch, int step, int corner)
{
    for (; step >= 0; step = scratch->steps[step].before)
        if (scratch->steps[step].corner == corner) return true;
    return false;
}

static int first_corner(const Scratch *scratch, int step)
{
    while (scratch->steps[step].corner_count > 1) step = scratch->steps[step].before;
    return scratch->steps[step].corner;
}

static bool add_step(Scratch *scratch, Step step)
{
    if (!make_room(&scratch->steps, &scratch->step_room, scratch->step_count + 1, sizeof *scratch->steps)) return false;
    if (!make_room(&scratch->open, &scratch->open_room, scratch->open_count + 1, sizeof *scratch->open)) return false;
    scratch->open[scratch->open_count++] = scratch->step_count;
    scratch->steps[scratch->step_count++] = step;
    return true;
}

/* The open string of the lowest bound, of equal ones the first that was found; it is open no more. */
static int take_best(Scratch *scratch)
{
    int pick = 0;
    for (int i = 1; i < scratch->open_count; i++) {
        int one = scratch->open[i], best = scratch->open[pick];
        double bound_db = scratch->steps[one].bound_db, best_db = scratch->steps[best].bound_db;
        if (bound_db < best_db || (bound_db == best_db && one < best)) pick = i;
    }
    int taken = scratch->open[pick];
    scratch->open[pick] = scratch->open[--scratch->open_count];
    return taken;
}

static void keep(Scratch *scratch, int step)
{
    const Step *last = scratch->steps + step;
    Path *path = scratch->found + scratch->found_count++;
    path->bound_db = last->bound_db;
    path->length_m = last->length_m;
    path->through_db = last->through_db;
    path->corner_count = last->corner_count - 1;
    path->step = step;
    for (int i = path->corner_count - 1, at = last->before; i >= 0; i--, at = scratch->steps[at].before)
        path->corners[i] = scratch->steps[at].corner;
}

bool search(const Section *section, Scratch *scratch, double length_m, double wavelength_m)
{
    int steps = 0, useful = 0;
    double best_db = MAX_LOSS_DB - MARGIN_DB;
    Step nothing = {.before = -1, .corner = -1};
    scratch->step_count = scratch->open_count = scratch->passed_count = scratch->found_count = 0;
    if (!make_room(&scratch->useful, &scratch->useful_room, section->corner_count, sizeof *scratch->useful)) return false;
    for (int i = 0; i < section->corner_count; i++)
        if (!section->corners[i].flat && section->corners[i].arm_count) scratch->useful[useful++] = i;
    if (!add_step(scratch, nothing)) return false;
    while (scratch->open_count && steps < MAX_STEPS && scratch->found_count < MAX_STRINGS) {
        int number = take_best(scratch);
        Step path = scratch->steps[number];
        if (path.bound_db > best_db + MARGIN_DB) break;
        if (path.corner_count && path.corner < 0) {
            keep(scratch, number);
            if (first_corner(scratch, number) >= 0) best_db = smaller(best_db, path.bound_db);
            continue;
        }
        steps++;
        int at = path.corner_count ? path.corner : -1;
        place_t here = {0.0, 0.0}, before = {0.0, 0.0};
        double ux = 0.0, uy = 0.0;
        if (at >= 0) {
            here = corner_place(section, at);
            if (path.corner_count > 1) before = corner_place(section, scratch->steps[path.before].corner);
            ux = here.x - before.x;
            uy = here.y - before.y;
            double size = sqrt(ux * ux + uy * uy);
            ux /= size;
            uy /= size;
        }
        for (int i = -1; i < useful; i++) {
            int to = i < 0 ? -1 : scratch->useful[i];
            if (to >= 0 && (path.corner_count >= MAX_CORNERS || has_corner(scratch, number, to))) continue;
            place_t there = {length_m, 0.0};
            if (to >= 0) there = corner_place(section, to);
            double vx = there.x - here.x, vy = there.y - here.y, size = sqrt(vx * vx + vy * vy);
            if (size < TOUCH_M) continue;
            double rest_x = length_m - there.x, long_m = path.length_m + size + sqrt(rest_x * rest_x + there.y * there.y);
            double nu = 2.0 * sqrt(larger(0.0, long_m - length_m) / wavelength_m);
            double bound_db = path.through_db + (path.corner_count || to >= 0 ? edge_loss_db(nu) : 0.0), loss_db;
            if (bound_db > best_db + MARGIN_DB) continue;
            if (at >= 0 && !wraps(section, at, ux, uy, vx / size, vy / size)) continue;
            if (to >= 0 && !can_wrap(section, to, vx / size, vy / size)) continue;
            int passed = leg_losses(section, scratch, here, there, at, to, best_db + MARGIN_DB - bound_db, &loss_db);
            if (passed < 0) return false;
            if (bound_db + loss_db > best_db + MARGIN_DB) continue;
            Step next = {bound_db + loss_db, path.length_m + size, path.through_db + loss_db, number, to, path.corner_count + 1,
                         scratch->passed_count, passed};
            scratch->passed_count += passed;
            if (!add_step(scratch, next)) return false;
        }
    }
    return true;
}
