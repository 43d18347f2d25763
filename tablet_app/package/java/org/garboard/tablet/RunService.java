package org.garboard.tablet;

import android.app.Activity;
import android.app.Notification;
import android.app.NotificationChannel;
import android.app.NotificationManager;
import android.app.PendingIntent;
import android.app.Service;
import android.content.Context;
import android.content.Intent;
import android.content.pm.ServiceInfo;
import android.net.wifi.WifiManager;
import android.os.Build;
import android.os.IBinder;
import android.os.PowerManager;

/** Keeps the app at work while a run is recorded and another app, or nothing, is in sight. It does nothing itself. */
public class RunService extends Service {
    private static final String CHANNEL = "runs";
    private static final int NOTICE = 1;

    private PowerManager.WakeLock awake;
    private WifiManager.WifiLock wifi;

    /** Called by the app when a run begins: the app is in sight then, as the system asks. */
    public static void begin(Activity activity) {
        Intent intent = new Intent(activity, RunService.class);
        if (Build.VERSION.SDK_INT >= Build.VERSION_CODES.O) {
            activity.startForegroundService(intent);
        } else {
            activity.startService(intent);
        }
    }

    /** Called by the app when no run is under way any more. */
    public static void end(Activity activity) {
        activity.stopService(new Intent(activity, RunService.class));
    }

    @Override
    public int onStartCommand(Intent intent, int flags, int startId) {
        if (Build.VERSION.SDK_INT >= Build.VERSION_CODES.Q) {
            startForeground(NOTICE, notice(), ServiceInfo.FOREGROUND_SERVICE_TYPE_CONNECTED_DEVICE);
        } else {
            startForeground(NOTICE, notice());
        }
        if (awake == null) {
            PowerManager power = (PowerManager) getSystemService(Context.POWER_SERVICE);
            awake = power.newWakeLock(PowerManager.PARTIAL_WAKE_LOCK, "garboard:run");
            awake.acquire();
            WifiManager manager = (WifiManager) getApplicationContext().getSystemService(Context.WIFI_SERVICE);
            wifi = manager.createWifiLock(WifiManager.WIFI_MODE_FULL_HIGH_PERF, "garboard:run");
            wifi.acquire();
        }
        return START_NOT_STICKY; // a run lives in the app: without it there is nothing to keep at work
    }

    private Notification notice() {
        Notification.Builder builder;
        if (Build.VERSION.SDK_INT >= Build.VERSION_CODES.O) {
            NotificationChannel channel =
                    new NotificationChannel(CHANNEL, "Runs", NotificationManager.IMPORTANCE_LOW);
            ((NotificationManager) getSystemService(Context.NOTIFICATION_SERVICE)).createNotificationChannel(channel);
            builder = new Notification.Builder(this, CHANNEL);
        } else {
            builder = new Notification.Builder(this);
        }
        Intent back = getPackageManager().getLaunchIntentForPackage(getPackageName());
        PendingIntent press = PendingIntent.getActivity(this, 0, back, PendingIntent.FLAG_IMMUTABLE);
        return builder.setContentTitle("A run is being recorded")
                .setContentText("Press to see it. STOP in the app ends it.")
                .setSmallIcon(getApplicationInfo().icon)
                .setContentIntent(press)
                .setOngoing(true)
                .build();
    }

    @Override
    public void onDestroy() {
        if (awake != null) {
            awake.release();
            wifi.release();
        }
        super.onDestroy();
    }

    @Override
    public void onTaskRemoved(Intent intent) {
        stopSelf(); // the app was closed from the list of apps: what was recorded is on the disk
    }

    @Override
    public IBinder onBind(Intent intent) {
        return null;
    }
}
