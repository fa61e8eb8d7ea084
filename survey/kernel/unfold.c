/* What bounces between facing walls along a string, see survey/propagation/around/unfold.py. */

#include "around.h"

#define ROOM_PLACES (MAX_CORNERS + 2 * MAX_BOUNCES)

typedef struct {
    double x, y, side; /* side +1: it closes the left */
    int corner;
    bool bounce;
} Place;

static double turn_at(const place_t *points, int i)
{
    double ux = points[i].x - points[i - 1].x, uy = points[i].y - points[i - 1].y;
    double vx = points[i + 1].x - points[i].x, vy = points[i + 1].y - points[i].y;
    return atan2(ux * vy - uy * vx, ux * vx + uy * vy);
}

static void closed_sides(const Section *section, const Path *path, double length_m, double *sides)
{
    place_t points[MAX_CORNERS + 2] = {{0.0, 0.0}};
    for (int i = 0; i < path->corner_count; i++) points[i + 1] = corner_place(section, path->corners[i]);
    points[path->corner_count + 1].x = length_m;
    points[path->corner_count + 1].y = 0.0;
    for (int i = 0; i < path->corner_count; i++) sides[i] = turn_at(points, i + 1) > 0.0 ? 1.0 : -1.0;
}

typedef struct { double nx, ny, width_m, share; } Facing;

static bool facing_walls(const Section *section, int first, int second, Facing *best)
{
    const Corner *a = section->corners + first, *b = section->corners + second;
    bool found = false;
    for (int i = 0; i < a->arm_count; i++) {
        const Arm *one = a->arms + i;
        const Segment *wall_1 = section->segments + one->segment;
        if (wall_1->loss_db < OPAQUE_DB) continue;
        for (int j = 0; j < b->arm_count; j++) {
            const Arm *two = b->arms + j;
            const Segment *wall_2 = section->segments + two->segment;
            if (one->segment == two->segment || wall_2->loss_db < OPAQUE_DB || one->dx * two->dx + one->dy * two->dy > 0.0) continue;
            double across = fabs(one->dx * two->dy - one->dy * two->dx);
            double mx = one->dx - two->dx, my = one->dy - two->dy, middle = sqrt(mx * mx + my * my);
            mx /= middle;
            my /= middle;
            double overlap_m = (b->x - a->x) * mx + (b->y - a->y) * my;
            if (across > PARALLEL || overlap_m <= TOUCH_M || overlap_m > smaller(wall_1->size_m, wall_2->size_m) + TOUCH_M) continue;
            double nx = -my, ny = mx, width_m = (b->x - a->x) * nx + (b->y - a->y) * ny;
            if (width_m < 0.0) {
                nx = -nx;
                ny = -ny;
                width_m = -width_m;
            }
            if (width_m > NARROW_M && (!found || width_m < best->width_m)) {
                Facing facing = {nx, ny, width_m, smooth((PARALLEL - across) / PARALLEL)};
                *best = facing;
                found = true;
            }
        }
    }
    return found;
}

/* Power of a string with all its places as stations. */
static powers_t straightened(Section *section, Integrals *integrals, const Place *places, int place_count, const bool *tight,
                             const place_t *points, int point_count, double length_m, double wavelength_m)
{
    double starts_m[ROOM_PLACES + 2] = {0.0}, gain = 1.0, last_m = 0.0;
    Station stations[ROOM_PLACES];
    Face faces[ROOM_PLACES];
    Members members[ROOM_PLACES], none = {NULL, 0, -1};
    int kept[ROOM_PLACES], count = 0, number = 0;
    for (int i = 0; i + 1 < point_count; i++) starts_m[i + 1] = starts_m[i] + apart(points[i], points[i + 1]);
    for (int i = 0; i < place_count; i++) {
        const Place *place = places + i;
        Members arms = members_of(section, place->corner);
        Station station = {.gain = 1.0, .low_m = -INFINITY, .high_m = INFINITY};
        if (tight[i]) {
            number++;
            double turn_rad = turn_at(points, number), image[2];
            if (place->side > 0) station.high_m = 0.0;
            else station.low_m = 0.0;
            image_at(section, place->corner, points[number - 1], points[number + 1], turn_rad, image);
            bool shared = count > 0 && share_one(members[count - 1], arms);
            shared |= i + 1 < place_count && places[i + 1].corner != place->corner &&
                      share_one(members_of(section, places[i + 1].corner), arms);
            station.at_m = last_m = starts_m[number];
            station.turn = 2.0 * sin(turn_rad / 2.0);
            station.gain = wedge_gain(fabs(turn_rad), outer_angle(section, place->corner));
            station.image[place->side > 0 ? 0 : 1] = shared ? 0.0 : image[0];
            station.image_turn[place->side > 0 ? 0 : 1] = shared ? 0.0 : image[1];
        } else {
            place_t from = points[number], to = points[number + 1];
            double size = apart(from, to), dx = (to.x - from.x) / size, dy = (to.y - from.y) / size;
            double along = (place->x - from.x) * dx + (place->y - from.y) * dy;
            if (!(END_M < along && along < size - END_M) || starts_m[number] + along <= last_m + TOUCH_M) continue;
            double off = (place->y - from.y) * dx - (place->x - from.x) * dy;
            if (place->side > 0) station.high_m = off;
            else station.low_m = off;
            double nu = -(off * place->side) * sqrt(2.0 / wavelength_m * (1.0 / along + 1.0 / (size - along)));
            double weight = smooth((nu - LEAST_NU) / (FULL_NU - LEAST_NU));
            if (weight < 1.0) {
                gain *= 1.0 + weight * ripple(nu);
                continue;
            }
            station.at_m = last_m = starts_m[number] + along;
        }
        stations[count] = station;
        members[count] = place->bounce ? none : arms;
        kept[count++] = i;
    }
    for (int i = 0; i + 1 < count; i++) {
        const Place *one = places + kept[i], *two = places + kept[i + 1];
        bool same = one->corner != two->corner && share_one(members[i], members[i + 1]);
        faces[i].left = same && one->side > 0 && two->side > 0 ? 1.0 : 0.0;
        faces[i].right = same && one->side < 0 && two->side < 0 ? 1.0 : 0.0;
    }
    complex_t hard, soft;
    double total_m = starts_m[point_count - 1], scale = (gain * length_m / total_m) * (gain * length_m / total_m);
    field(integrals, stations, faces, count, total_m, wavelength_m, &hard, &soft);
    powers_t powers = {scale * (hard.re * hard.re + hard.im * hard.im), scale * (soft.re * soft.re + soft.im * soft.im)};
    return powers;
}

/* Power of a string with so many pairs of bounces on one leg. */
static powers_t bounced(Section *section, Integrals *integrals, const Path *path, const double *sides, int leg, int bounces,
                        const Facing *wall, double length_m, double wavelength_m)
{
    Place places[ROOM_PLACES];
    bool tight[ROOM_PLACES];
    int count = 0;
    for (int i = 0; i <= leg; i++) {
        place_t at = corner_place(section, path->corners[i]);
        Place place = {at.x, at.y, sides[i], path->corners[i], false};
        places[count++] = place;
    }
    for (int k = 1; k <= 2 * bounces; k++) {
        bool odd = k % 2 == 1;
        int index = odd ? leg + 1 : leg;
        place_t at = corner_place(section, path->corners[index]);
        double shift = (k - (odd ? 1 : 0)) * wall->width_m;
        Place place = {at.x + shift * wall->nx, at.y + shift * wall->ny, -sides[index], path->corners[index], true};
        places[count++] = place;
    }
    double shift = 2.0 * bounces * wall->width_m;
    for (int i = leg + 1; i < path->corner_count; i++) {
        place_t at = corner_place(section, path->corners[i]);
        Place place = {at.x + shift * wall->nx, at.y + shift * wall->ny, sides[i], path->corners[i], false};
        places[count++] = place;
    }
    for (int i = 0; i < count; i++) tight[i] = !places[i].bounce;
    place_t points[ROOM_PLACES + 2];
    int point_count;
    for (;;) { /* corners that the moved string no longer bends around go loose, one after another */
        points[0].x = points[0].y = 0.0;
        point_count = 1;
        for (int i = 0; i < count; i++) {
            if (!tight[i]) continue;
            points[point_count].x = places[i].x;
            points[point_count++].y = places[i].y;
        }
        points[point_count].x = length_m + shift * wall->nx;
        points[point_count++].y = shift * wall->ny;
        int loose = -1;
        for (int i = 0, number = 0; i < count && loose < 0; i++)
            if (tight[i] && turn_at(points, ++number) * places[i].side <= TOUCH_M) loose = i;
        if (loose < 0) break;
        tight[loose] = false;
    }
    return straightened(section, integrals, places, count, tight, points, point_count, length_m, wavelength_m);
}

powers_t unfolded_powers(Section *section, Integrals *integrals, const Path *path, double length_m, double wavelength_m)
{
    powers_t sum = {0.0, 0.0};
    double sides[MAX_CORNERS];
    closed_sides(section, path, length_m, sides);
    for (int leg = 0; leg + 1 < path->corner_count; leg++) {
        Facing facing = {0.0, 0.0, 0.0, 0.0};
        if (sides[leg] == sides[leg + 1] || !facing_walls(section, path->corners[leg], path->corners[leg + 1], &facing)) continue;
        for (int bounces = 1; bounces <= MAX_BOUNCES; bounces++) {
            powers_t one = bounced(section, integrals, path, sides, leg, bounces, &facing, length_m, wavelength_m);
            sum.hard += one.hard * facing.share;
            sum.soft += one.soft * facing.share;
        }
    }
    return sum;
}
