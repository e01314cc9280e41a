#pragma once
/// Compares a pipeline's output, row by row, with the truth of the simulated flight.
///
/// Every time the station gives is late by the link's smallest delay, which one-way signals cannot show. It is scored
/// once, as the error of packets' times; everything else is compared with the truth at the moment the vehicle measured.
#include <map>
#include <string>
#include <vector>

#include "server/pipeline/batch.hpp"
#include "tools/sim/fly.hpp"
#include "tools/trials/trial.hpp"

namespace turnstone::trials {

inline constexpr std::int64_t kStart_ns = 1'780'000'000'000'000'000; ///< station time of the simulator's zero

struct AskedCheckpoint {
    Checkpoint checkpoint;
    double t_s;
};

class Scorer {
  public:
    /// All must outlive it.
    Scorer(const sim::FlightResult& flight, const sim::Scenario& scenario, const Schema& schema);

    /// In the order of time; those that the flight has.
    [[nodiscard]] const std::vector<AskedCheckpoint>& checkpoints() const noexcept { return asked_; }
    void take(const Batch& batch);
    /// Once, after everything was taken.
    [[nodiscard]] TrialScore score();

  private:
    /// A table's row with its columns by name.
    struct Row {
        const std::map<std::string, std::size_t>* columns;
        std::span<const double> values;
        double t_s;
        [[nodiscard]] double operator[](const std::string& column) const { return values[columns->at(column)]; }
    };

    /// Seconds of the simulator's time at which the vehicle measured what the station dates to `t_ns`.
    [[nodiscard]] double true_s(std::int64_t t_ns) const;
    [[nodiscard]] sim::TruthSample truth_at(double t_s) const;
    /// Adds a row's error to its phase. One without a finite error is a row that says nothing.
    void compare(Quantity quantity, const sim::TruthSample& truth, double error, double sigma);
    void lamp(Lamp which, const Row& row, const char* column);
    void packet(const FrameRecord& frame, const RowRecord& row);
    void air(const Row& row, const sim::TruthSample& truth);
    void vertical(const Row& row, const sim::TruthSample& truth);
    void navigation(const Row& row, const sim::TruthSample& truth);
    void look_angles(const Row& row, const sim::TruthSample& truth);
    void prediction_shown(const RowRecord& record);
    void count_positions();
    void apogee(const Row& row);
    void landing(const Row& row);
    void event(const Event& event);
    /// The last prediction asked for before `t_s`; null when that was long ago or is answered.
    PredictionScore* asked_before(double t_s, double PredictionScore::*unanswered);

    const sim::FlightResult* flight_;
    const Schema* schema_;
    Eigen::Vector3d station_enu_m_;
    bool charges_fire_, drogue_late_;
    std::vector<std::map<std::string, std::size_t>> columns_; ///< by table
    std::map<std::string, TableId> tables_;
    std::vector<AskedCheckpoint> asked_;
    double late_s_ = 0; ///< of the newest packet's time
    std::array<double, kFlightEvents.size()> flight_events_true_s_{NAN, NAN, NAN,
                                                                   NAN, NAN, NAN}; ///< NaN: did not happen
    double hold_s_; ///< an estimate counts as there for this long
    double fix_hz_;
    std::vector<double> fixes_s_, positions_s_; ///< when the station had them
    std::array<double, kQuantities> answered_s_;
    TrialScore score_;
    double height_nis_sum_ = 0, fix_nis_sum_ = 0;
    int height_nis_count_ = 0, fix_nis_count_ = 0;
};

} // namespace turnstone::trials
