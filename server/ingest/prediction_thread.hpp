#pragma once
/// Flies the predictions of a pipeline beside the thread that runs it, in time that no other thread wants: a packet,
/// its way to the viewers and the recorder go first.
#include <condition_variable>
#include <mutex>
#include <thread>

#include "server/pipeline/station/pipeline.hpp"

namespace turnstone {

class PredictionThread {
  public:
    static constexpr int kNiceness = 7; ///< of its thread alone

    PredictionThread() : thread_([this] { run(); }) {}
    ~PredictionThread();
    PredictionThread(const PredictionThread&) = delete;
    PredictionThread& operator=(const PredictionThread&) = delete;

    /// Once it returns, nothing is flown for the one before. Null: for none. `pipeline` must last until the next call.
    void fly_for(Pipeline* pipeline);
    /// Something may be due.
    void look();

  private:
    void run();
    std::mutex wake_;
    std::condition_variable looked_;
    bool look_ = false, stopping_ = false; ///< under `wake_`
    std::mutex flying_;                    ///< held for a piece
    Pipeline* pipeline_ = nullptr;         ///< under `flying_`
    std::thread thread_;                   ///< last: it uses all of the above
};

} // namespace turnstone
