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

static bool before(const Scratch *scratch, int one, int other)
{
    double bound_db = scratch->steps[one].bound_db, other_db = scratch->steps[other].bound_db;
    return bound_db < other_db || (bound_db == other_db && one < other);
}

/* Open strings are a heap: none comes before the one at half its place. */
static bool add_step(Scratch *scratch, Step step)
{
    if (!make_room(&scratch->steps, &scratch->step_room, scratch->step_count + 1, sizeof *scratch->steps)) return false;
    if (!make_room(&scratch->open, &scratch->open_room, scratch->open_count + 1, sizeof *scratch->open)) return false;
    int number = scratch->step_count++, at = scratch->open_count++;
    scratch->steps[number] = step;
    for (; at > 0 && before(scratch, number, scratch->open[(at - 1) / 2]); at = (at - 1) / 2) scratch->open[at] = scratch->open[(at - 1) / 2];
    scratch->open[at] = number;
    return true;
}

/* The open string of the lowest bound, of equal ones the first that was found; it is open no more. */
static int take_best(Scratch *scratch)
{
    int taken = scratch->open[0], count = --scratch->open_count, last = scratch->open[count], at = 0;
    for (int next; (next = 2 * at + 1) < count; at = next) {
        if (next + 1 < count && before(scratch, scratch->open[next + 1], scratch->open[next])) next++;
        if (!before(scratch, scratch->open[next], last)) break;
        scratch->open[at] = scratch->open[next];
    }
    scratch->open[at] = last;
    return taken;
}

static void keep(const Scratch *scratch, int step, Path *path)
{
    const Step *last = scratch->steps + step;
    path->bound_db = last->bound_db;
    path->length_m = last->length_m;
    path->through_db = last->through_db;
    path->corner_count = last->corner_count - 1;
    path->step = step;
    path->passed_count = path->beside_count = 0;
    for (int at = step; at >= 0; at = scratch->steps[at].before) {
        path->passed_count += scratch->steps[at].passed_count;
        path->beside_count += scratch->steps[at].beside_count;
    }
    for (int i = path->corner_count - 1, at = last->before; i >= 0; i--, at = scratch->steps[at].before)
        path->corners[i] = scratch->steps[at].corner;
}

/* Begin: nothing is open but the start; false without memory. */
bool search(const Section *section, Scratch *scratch, double length_m)
{
    Step nothing = {.before = -1, .corner = -1};
    int most = section->corner_count, count = 0;
    place_t end = {length_m, 0.0};
    scratch->steps_done = scratch->step_count = scratch->open_count = scratch->passed_count = scratch->beside_count = 0;
    if (!make_room(&scratch->useful, &scratch->useful_room, most, sizeof *scratch->useful)) return false;
    if (!make_room(&scratch->useful_x, &scratch->places_room, 4 * most, sizeof *scratch->useful_x)) return false;
    scratch->useful_y = scratch->useful_x + most;
    scratch->useful_rest = scratch->useful_y + most;
    scratch->useful_size = scratch->useful_rest + most;
    for (int i = 0; i < most; i++) {
        const Corner *corner = section->corners + i;
        if (corner->flat || !corner->arm_count) continue;
        scratch->useful[count] = i;
        scratch->useful_x[count] = corner->x;
        scratch->useful_y[count] = corner->y;
        scratch->useful_rest[count++] = apart(corner_place(section, i), end);
    }
    scratch->useful_count = count;
    return add_step(scratch, nothing);
}

/* How far away corners are. */
static WIDE void measure(const Scratch *scratch, place_t here)
{
    for (int i = 0; i < scratch->useful_count; i++) {
        double dx = scratch->useful_x[i] - here.x, dy = scratch->useful_y[i] - here.y;
        scratch->useful_size[i] = sqrt(dx * dx + dy * dy);
    }
}

/* The longest detour that loses no more than so much, and a little more; what is longer need not be looked at. */
static double longest_detour_m(double loss_db, double wavelength_m)
{
    if (loss_db < 0.0) return -1.0;
    double t = pow(10.0, (loss_db - 6.9) / 20.0), nu = 0.1 + 0.5 * (t - 1.0 / t);
    return nu < 0.0 ? 1e-9 : 0.25 * nu * nu * wavelength_m * (1.0 + 1e-9) + 1e-9;
}

/* What a string loses that turns around a sheet to one side at its one end, and to the other at its other end. */
static double crossed_face_loss_db(const Section *section, const Scratch *scratch, const Step *path, bool left)
{
    if (path->corner_count < 2) return 0.0;
    const Step *last = scratch->steps + path->before;
    place_t b = corner_place(section, path->corner), a = corner_place(section, last->corner), from = {0.0, 0.0};
    if (path->corner_count > 2) from = corner_place(section, scratch->steps[last->before].corner);
    double dx = b.x - a.x, dy = b.y - a.y;
    if (((a.x - from.x) * dy - (a.y - from.y) * dx > 0.0) == left) return 0.0;
    double size = apart(a, b), most_db = 0.0;
    dx /= size;
    dy /= size;
    for (int i = 0; i < section->count; i++) {
        const Segment *one = section->segments + i;
        double off_1 = (one->y1 - a.y) * dx - (one->x1 - a.x) * dy, off_2 = (one->y2 - a.y) * dx - (one->x2 - a.x) * dy;
        if (fabs(off_1) > TOUCH_M || fabs(off_2) > TOUCH_M) continue;
        double along_1 = (one->x1 - a.x) * dx + (one->y1 - a.y) * dy, along_2 = (one->x2 - a.x) * dx + (one->y2 - a.y) * dy;
        double begins = larger(smaller(along_1, along_2), 0.0), ends = smaller(larger(along_1, along_2), size);
        if (ends - begins > END_M && one->loss_db > most_db) most_db = one->loss_db;
    }
    return most_db;
}

/* Lead a string on to a corner so far away, or to the end where that is -1; false without memory. */
static bool extend(const Section *section, Scratch *scratch, int number, int to, place_t here, double ux, double uy, double size,
                   double long_m, double length_m, double wavelength_m, double most_db)
{
    const Step path = scratch->steps[number];
    int at = path.corner_count ? path.corner : -1;
    bool is_line = at < 0 && to < 0;
    place_t there = {length_m, 0.0};
    if (to >= 0) there = corner_place(section, to);
    double vx = (there.x - here.x) / size, vy = (there.y - here.y) / size;
    if (to >= 0 && !can_wrap(section, to, vx, vy)) return true;
    if (at >= 0 && !wraps(section, at, ux, uy, vx, vy)) return true;
    if (to >= 0 && has_corner(scratch, number, to)) return true;
    double nu = 2.0 * sqrt(larger(0.0, long_m - length_m) / wavelength_m), bound_db = path.through_db;
    if (!is_line) bound_db += edge_loss_db(nu);
    if (bound_db > most_db) return true;
    double face_db = at >= 0 ? crossed_face_loss_db(section, scratch, &path, ux * vy - uy * vx > 0.0) : 0.0;
    bound_db += face_db;
    if (bound_db > most_db) return true;
    Met met;
    if (!met_by_leg(section, scratch, here, there, at, to, is_line ? 1e9 : most_db - bound_db, number, &met)) return false;
    if (bound_db + met.loss_db > most_db && !is_line) return true;
    if (at >= 0 && to >= 0) {
        met.loss_db += along_face_loss_db(section, at, to, ux * vy - uy * vx > 0.0);
        if (bound_db + met.loss_db > most_db) return true;
    }
    Step next = {.bound_db = bound_db + met.loss_db,
                 .length_m = path.length_m + size,
                 .through_db = path.through_db + face_db + met.loss_db,
                 .before = number,
                 .corner = to,
                 .corner_count = path.corner_count + 1,
                 .all_beside = path.all_beside + met.beside_count,
                 .first_passed = scratch->passed_count,
                 .passed_count = met.passed_count,
                 .first_beside = scratch->beside_count,
                 .beside_count = met.beside_count};
    scratch->passed_count += met.passed_count;
    scratch->beside_count += met.beside_count;
    return add_step(scratch, next);
}

/* The next string: 1 where there is one, 0 where no more can lose less than so much, -1 without memory. */
int next_string(const Section *section, Scratch *scratch, double length_m, double wavelength_m, double most_db, Path *path)
{
    while (scratch->open_count && scratch->steps_done < MAX_STEPS) {
        int number = take_best(scratch);
        const Step last = scratch->steps[number];
        if (last.bound_db > most_db) continue;
        if (last.corner_count && last.corner < 0) {
            keep(scratch, number, path);
            return 1;
        }
        scratch->steps_done++;
        place_t here = {0.0, 0.0}, before = {0.0, 0.0}, end = {length_m, 0.0};
        double ux = 0.0, uy = 0.0;
        if (last.corner_count) {
            here = corner_place(section, last.corner);
            if (last.corner_count > 1) before = corner_place(section, scratch->steps[last.before].corner);
            double size = apart(before, here);
            ux = (here.x - before.x) / size;
            uy = (here.y - before.y) / size;
        }
        double size = apart(here, end), longest_m = length_m + longest_detour_m(most_db - last.through_db, wavelength_m);
        if (size >= TOUCH_M &&
            !extend(section, scratch, number, -1, here, ux, uy, size, last.length_m + size, length_m, wavelength_m, most_db))
            return -1;
        if (last.corner_count >= MAX_CORNERS) continue;
        measure(scratch, here);
        for (int i = 0; i < scratch->useful_count; i++) {
            double to_m = scratch->useful_size[i], long_m = last.length_m + to_m + scratch->useful_rest[i];
            if (long_m > longest_m || to_m < TOUCH_M) continue;
            if (!extend(section, scratch, number, scratch->useful[i], here, ux, uy, to_m, long_m, length_m, wavelength_m, most_db)) return -1;
        }
    }
    return 0;
}
