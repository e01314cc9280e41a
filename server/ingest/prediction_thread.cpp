#include "server/ingest/prediction_thread.hpp"

#include <exception>
#include <utility>

#include <spdlog/spdlog.h>
#include <sys/resource.h>

namespace turnstone {

PredictionThread::~PredictionThread() {
    {
        const std::lock_guard lock(wake_);
        stopping_ = true;
    }
    looked_.notify_one();
    thread_.join();
}

void PredictionThread::fly_for(Pipeline* pipeline) {
    const std::lock_guard lock(flying_);
    pipeline_ = pipeline;
}

void PredictionThread::look() {
    {
        const std::lock_guard lock(wake_);
        look_ = true;
    }
    looked_.notify_one();
}

void PredictionThread::run() {
    // Behind what has a viewer waiting, but never without a turn: on a busy machine a thread that only runs when
    // nothing else does keeps others waiting for what it holds, and a killed process from its end.
    if (::setpriority(PRIO_PROCESS, 0, kNiceness) != 0)
        spdlog::warn("predictions run at the same priority as everything else");
    for (;;) {
        {
            std::unique_lock lock(wake_);
            looked_.wait(lock, [this] { return look_ || stopping_; });
            if (stopping_) return;
            look_ = false;
        }
        for (bool more = true; more;) {
            const std::lock_guard lock(flying_);
            try {
                more = pipeline_ != nullptr && pipeline_->work_ahead();
            } catch (const std::exception& error) { // the pipeline meets it again when it needs the figures
                spdlog::error("a prediction could not be flown: {}", error.what());
                more = false;
            }
        }
    }
}

} // namespace turnstone
